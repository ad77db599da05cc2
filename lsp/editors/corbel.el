;;; corbel.el --- part specs and shop files in Eglot -*- lexical-binding: t -*-

;; Put this file on the load path and (require 'corbel) into the init file.
;; Tried with Emacs 28.2 and Eglot 1.9.

;;; Code:

(require 'conf-mode)
(require 'eglot)

(defgroup corbel nil "Checks of parts that are printed in metal." :group 'tools)

(defcustom corbel-command '("corbel" "serve")
  "The command that starts the language server."
  :type '(repeat string))

(define-derived-mode corbel-mode conf-toml-mode "Corbel"
  "Major mode for part specs and shop files.")

(add-to-list 'auto-mode-alist '("\\.part\\.toml\\'" . corbel-mode))
(add-to-list 'auto-mode-alist '("\\(?:\\`\\|[/.]\\)shop\\.toml\\'" . corbel-mode))
(add-to-list 'eglot-server-programs
             (cons 'corbel-mode (lambda (&optional _interactive) corbel-command)))
(add-hook 'corbel-mode-hook #'eglot-ensure)

(provide 'corbel)
;;; corbel.el ends here
