-- Serves part specs and shop files in Neovim, 0.7.2 and later.
--
-- Put this file into ~/.config/nvim/lua and `require("corbel")` into init.lua.
-- Another command than `corbel serve` can be set before that, as
-- vim.g.corbel_command = { "/opt/corbel/corbel", "serve" }

local M = {}

local clients = {} -- ids by root

-- The folder of the shop file in force, else of the spec: one server for both.
local function root_of(path)
  local dir = vim.fn.fnamemodify(path, ":p:h")
  local shop = vim.fn.findfile("shop.toml", vim.fn.escape(dir, " ,;\\") .. ";")
  return shop ~= "" and vim.fn.fnamemodify(shop, ":p:h") or dir
end

function M.attach(buffer)
  local root = root_of(vim.api.nvim_buf_get_name(buffer))
  local id = clients[root]
  if not id or not vim.lsp.get_client_by_id(id) then
    id = vim.lsp.start_client({
      name = "corbel",
      cmd = vim.g.corbel_command or { "corbel", "serve" },
      root_dir = root,
    })
    clients[root] = id
  end
  if id then
    vim.lsp.buf_attach_client(buffer, id)
  end
end

vim.api.nvim_create_autocmd({ "BufReadPost", "BufNewFile" }, {
  pattern = { "*.part.toml", "shop.toml", "*.shop.toml" },
  callback = function(event)
    M.attach(event.buf)
  end,
})

return M
