-- Drives Neovim: opens a file, edits it, and prints what the user sees.
-- Environment: CORBEL_SERVER, the command; CORBEL_FILE, the file to open;
-- CORBEL_OPENED and CORBEL_EDITED, how many findings are expected.

vim.opt.runtimepath:append(vim.env.CORBEL_EDITORS)
package.path = vim.env.CORBEL_EDITORS .. "/?.lua;" .. package.path
vim.g.corbel_command = { vim.env.CORBEL_SERVER }
require("corbel")

local function fail(why)
  io.stdout:write("FAIL " .. why .. "\n")
  vim.cmd("cquit 1")
end

local function wait(what, reached)
  if not vim.wait(20000, reached, 20) then
    fail("waited in vain for " .. what)
  end
end

-- show waits until as many findings are shown as the rules have, and prints them.
local function show(step, count)
  vim.wait(60000, function() return #vim.diagnostic.get(0) == count end, 10)
  local found = vim.diagnostic.get(0)
  for _, d in ipairs(found) do
    io.stdout:write(step .. " " .. vim.json.encode({
      line = d.lnum, column = d.col, end_line = d.end_lnum, end_column = d.end_col,
      severity = d.severity, message = d.message, source = d.source,
      code = d.user_data.lsp.code,
    }) .. "\n")
  end
  io.stdout:write(step .. " done\n")
end

local opened, edited = tonumber(vim.env.CORBEL_OPENED), tonumber(vim.env.CORBEL_EDITED)

vim.cmd("edit " .. vim.fn.fnameescape(vim.env.CORBEL_FILE))
show("opened", opened)

-- A line that no part spec may hold, then the text as it was.
vim.api.nvim_buf_set_lines(0, 1, 1, false, { 'nonsense = "µ 🔩" ' })
show("edited", edited)
vim.api.nvim_buf_set_lines(0, 1, 2, false, {})
show("restored", opened)

local client = vim.lsp.buf_get_clients(0)
local id = next(client)
local answers = vim.lsp.buf_request_sync(0, "textDocument/hover", {
  textDocument = { uri = vim.uri_from_bufnr(0) },
  position = { line = tonumber(vim.env.CORBEL_HOVER), character = 0 },
}, 20000)
io.stdout:write("hover " .. vim.json.encode(answers and answers[id] or vim.NIL) .. "\n")

vim.lsp.stop_client(id)
wait("the server to end", function() return vim.lsp.get_client_by_id(id) == nil end)
io.stdout:write("stopped\n")
vim.cmd("qall!")
