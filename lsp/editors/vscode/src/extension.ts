// Serves part specs and shop files in VS Code: starts the language server and
// leaves everything else to it.

import * as vscode from "vscode";
import { LanguageClient, type LanguageClientOptions, type ServerOptions } from "vscode-languageclient/node";

// By name, not by language: a user may have the files opened as plain TOML, with
// a general server for that beside ours.
const files = ["**/*.part.toml", "**/shop.toml", "**/*.shop.toml"];

let client: LanguageClient | undefined;

export async function activate(context: vscode.ExtensionContext): Promise<void> {
  const part = (name: string, serverCommand: string) =>
    context.subscriptions.push(vscode.commands.registerCommand(name, () => onPart(serverCommand)));
  part("corbel.part.report", "corbel.openReport");
  part("corbel.part.orient", "corbel.betterOrientation");
  part("corbel.part.measure", "corbel.measureAgain");
  context.subscriptions.push(
    vscode.commands.registerCommand("corbel.restart", restart),
    vscode.workspace.onDidChangeConfiguration(async (e) => {
      if (e.affectsConfiguration("corbel.command")) {
        await restart();
      }
    }),
  );
  await start();
}

export function deactivate(): Promise<void> | undefined {
  return client?.stop();
}

async function start(): Promise<void> {
  const [program, ...args] = vscode.workspace.getConfiguration("corbel").get<string[]>("command") ?? [];
  if (!program) {
    void vscode.window.showErrorMessage("corbel: the setting corbel.command names no program.");
    return;
  }
  const server: ServerOptions = { command: program, args };
  const options: LanguageClientOptions = {
    documentSelector: files.map((pattern) => ({ scheme: "file", pattern })),
    initializationOptions: vscode.workspace.getConfiguration("corbel"),
    synchronize: { configurationSection: "corbel" },
  };
  client = new LanguageClient("corbel", "corbel", server, options);
  try {
    await client.start();
  } catch (why) {
    void vscode.window.showErrorMessage(`corbel: ${program} did not start (${String(why)}); the setting corbel.command names another.`);
  }
}

async function restart(): Promise<void> {
  await client?.stop().catch(() => undefined);
  await client?.dispose().catch(() => undefined);
  client = undefined;
  await start();
}

// onPart runs a command of the server's on the part spec in front.
async function onPart(command: string): Promise<void> {
  const uri = vscode.window.activeTextEditor?.document.uri;
  if (!client || !uri) {
    return;
  }
  try {
    await client.sendRequest("workspace/executeCommand", { command, arguments: [client.code2ProtocolConverter.asUri(uri)] });
  } catch (why) {
    void vscode.window.showWarningMessage(`corbel: ${String(why)}`);
  }
}
