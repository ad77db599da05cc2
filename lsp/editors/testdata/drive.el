;;; drive.el --- drives Emacs: opens a file, edits it, prints what the user sees -*- lexical-binding: t -*-

;; Environment: CORBEL_SERVER, the command; CORBEL_FILE, the file to open;
;; CORBEL_OPENED and CORBEL_EDITED, how many findings are expected.

(package-initialize)
(add-to-list 'load-path (getenv "CORBEL_EDITORS"))
(require 'json)
(require 'corbel)
(setq corbel-command (list (getenv "CORBEL_SERVER"))
      eglot-sync-connect t
      eglot-autoshutdown nil
      eglot-send-changes-idle-time 0.05
      flymake-no-changes-timeout 0.05)

(defun drive-fail (format &rest args)
  "Say what went wrong and end."
  (princ (concat "FAIL " (apply #'format format args) "\n"))
  (kill-emacs 1))

;; Between an edit and the server's next word Flymake shows the old findings at
;; their old places, so a count alone does not say that the new ones are there.
(defvar drive-version nil "The version of the newest findings.")
(cl-defmethod eglot-handle-notification :after
  (_server (_method (eql textDocument/publishDiagnostics)) &key version &allow-other-keys)
  (setq drive-version version))

(defun drive-wait (count)
  "Wait until COUNT findings of the present text are shown."
  (let ((end (+ 60 (float-time))))
    (while (and (or (not (eql drive-version eglot--versioned-identifier))
                    (/= count (length (flymake-diagnostics))))
                (< (float-time) end))
      (accept-process-output nil 0.01))))

(defun drive-show (step count)
  "Wait until as many findings are shown as the rules have, and print them."
  (drive-wait count)
  (dolist (d (flymake-diagnostics))
    (let* ((data (flymake-diagnostic-data d))
           (lsp (cdr (assq 'eglot-lsp-diag data))))
      (princ (format "%s %s\n" step
                     (json-encode
                      `((line . ,(1- (line-number-at-pos (flymake-diagnostic-beg d))))
                        (column . ,(save-excursion (goto-char (flymake-diagnostic-beg d))
                                                   (- (point) (line-beginning-position))))
                        (end_line . ,(1- (line-number-at-pos (flymake-diagnostic-end d))))
                        (end_column . ,(save-excursion (goto-char (flymake-diagnostic-end d))
                                                       (- (point) (line-beginning-position))))
                        (severity . ,(plist-get lsp :severity))
                        (message . ,(plist-get lsp :message))
                        (source . ,(plist-get lsp :source))
                        (code . ,(plist-get lsp :code))))))))
  (princ (format "%s done\n" step)))

(defvar drive-opened (string-to-number (getenv "CORBEL_OPENED")))
(defvar drive-edited (string-to-number (getenv "CORBEL_EDITED")))

(find-file (getenv "CORBEL_FILE"))
;; The hook of the mode waits for a user's command, which never comes here.
(apply #'eglot (eglot--guess-contact))
(unless (eglot-current-server) (drive-fail "no server"))
(drive-show "opened" drive-opened)

;; A line that no part spec may hold, then the text as it was.
(goto-char (point-min))
(forward-line 1)
(insert "nonsense = \"µ 🔩\" \n")
(eglot--signal-textDocument/didChange)
(drive-show "edited" drive-edited)
(forward-line -1)
(delete-region (point) (progn (forward-line 1) (point)))
(eglot--signal-textDocument/didChange)
(drive-show "restored" drive-opened)

(let ((server (eglot-current-server)))
  (goto-char (point-min))
  (forward-line (string-to-number (getenv "CORBEL_HOVER")))
  (princ (format "hover %s\n" (json-encode (jsonrpc-request server :textDocument/hover
                                                            (eglot--TextDocumentPositionParams)))))
  (set-buffer-modified-p nil)
  (eglot-shutdown server nil nil)
  (princ (if (jsonrpc-running-p server) "FAIL still running\n" "stopped\n")))
