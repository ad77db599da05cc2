-- Drives Neovim with two servers on one text: ours, and one that stands for a
-- general TOML server. Environment: as for drive.lua, and CORBEL_EXTRA, a line
-- that is put before the first.

vim.opt.runtimepath:append(vim.env.CORBEL_EDITORS)
package.path = vim.env.CORBEL_EDITORS .. "/?.lua;" .. package.path
vim.g.corbel_command = { vim.env.CORBEL_SERVER }
require("corbel")

vim.cmd("edit " .. vim.fn.fnameescape(vim.env.CORBEL_FILE))
local other = vim.lsp.start_client({
  name = "toml",
  cmd = { vim.env.CORBEL_SERVER },
  cmd_env = { CORBEL_TEST_SERVES = "other" },
  root_dir = vim.fn.fnamemodify(vim.env.CORBEL_FILE, ":h"),
})
vim.lsp.buf_attach_client(0, other)

-- counts returns how many findings each server shows.
local function counts()
  local ours, theirs = 0, 0
  for _, d in ipairs(vim.diagnostic.get(0)) do
    if d.source == "corbel" then ours = ours + 1 else theirs = theirs + 1 end
  end
  return ours, theirs
end

local function show(step, count)
  vim.wait(60000, function()
    local ours, theirs = counts()
    return ours == count and theirs == 1
  end, 10)
  io.stdout:write(string.format("%s %d and %d\n", step, counts()))
end

show("opened", tonumber(vim.env.CORBEL_OPENED))
vim.api.nvim_buf_set_lines(0, 0, 0, false, { vim.env.CORBEL_EXTRA })
show("edited", tonumber(vim.env.CORBEL_EDITED))

local answers = vim.lsp.buf_request_sync(0, "textDocument/hover", {
  textDocument = { uri = vim.uri_from_bufnr(0) },
  position = { line = 2, character = 0 },
}, 20000)
local n = 0
for _, answer in pairs(answers or {}) do
  if answer.result then n = n + 1 end
end
io.stdout:write("hovers " .. n .. "\n")
vim.cmd("qall!")
