// Drives VS Code: opens a part of the demo, edits it, and prints what its user
// sees. Run by `go test ./lsp/editors`, with in the environment
//   CORBEL_VSCODE   the folder that ./install filled
//   CORBEL_URL      the address of the server, with the folder to open
//   CORBEL_NAME     the name of the spec to open
//   CORBEL_OPENED   what the status bar says of the text's problems, and
//   CORBEL_EDITED   what it says once CORBEL_EXTRA is typed before the second line
//   CORBEL_HINT     a hint beside a value, and
//   CORBEL_LENS     the beginning of the line above the part, once all is measured
//   CORBEL_PICTURES where screenshots go; none without it

const env = process.env;
const { chromium } = require(`${env.CORBEL_VSCODE}/node_modules/playwright-core`);
const path = require("node:path");

const quiet = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

async function main() {
  const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args: quiet });
  try {
    const page = await browser.newPage({ viewport: { width: 1000, height: 620 } });
    page.setDefaultTimeout(120_000);
    try {
      await drive(page);
    } catch (why) {
      await shoot(page, "failed");
      throw why;
    }
  } finally {
    await browser.close();
  }
}

async function shoot(page, name) {
  if (env.CORBEL_PICTURES) {
    await page.screenshot({ path: path.join(env.CORBEL_PICTURES, `${name}.png`) });
  }
}

async function drive(page) {
  await page.goto(env.CORBEL_URL);
  await page.waitForSelector(".explorer-folders-view .monaco-list-row");
  await open(page, env.CORBEL_NAME);

  await problems(page, env.CORBEL_OPENED);
  await page.waitForSelector(`text=${env.CORBEL_HINT}`);
  console.log(`opened ${env.CORBEL_OPENED}`);
  await page.waitForSelector(`.codelens-decoration:has-text("${env.CORBEL_LENS}")`);
  console.log("lens");

  await at(page, "1:999");
  await page.keyboard.press("Enter");
  await page.keyboard.insertText(env.CORBEL_EXTRA);
  await problems(page, env.CORBEL_EDITED);
  console.log(`edited ${env.CORBEL_EDITED}`);
  await page.keyboard.press("Control+Shift+k"); // takes the line away
  await problems(page, env.CORBEL_OPENED);
  console.log("restored");

  await at(page, "12:12");
  await page.keyboard.press("Control+.");
  await page.waitForSelector(".action-widget .monaco-list-row");
  for (const title of await page.locator(".action-widget .monaco-list-row").allInnerTexts()) {
    console.log(`action ${title}`);
  }
  await page.keyboard.press("Escape");
  await hover(page);

  await at(page, "9:999");
  await page.keyboard.press("Enter");
  await page.keyboard.type("sh", { delay: 50 });
  await page.keyboard.press("Control+Space");
  await page.waitForSelector('.suggest-widget .monaco-list-row:has-text("shop")');
  console.log("completion shop");
  await page.keyboard.press("Escape");
  await page.keyboard.press("Control+Shift+k");
  await problems(page, env.CORBEL_OPENED);

  await rename(page);
}

// open opens a file by its name.
async function open(page, name) {
  await page.keyboard.press("Control+p");
  await page.waitForSelector(".quick-input-widget input");
  await page.keyboard.type(name);
  await page.waitForSelector(`.quick-input-list .monaco-list-row.focused:has-text("${name}")`);
  await page.keyboard.press("Enter");
  await page.waitForSelector(".monaco-editor .view-line");
}

// problems waits until the status bar counts the problems so.
async function problems(page, label) {
  await page.waitForSelector(`.statusbar-item a[aria-label="${label}"]`);
}

// at puts the cursor somewhere.
async function at(page, place) {
  await page.keyboard.press("Control+g");
  await page.waitForSelector(".quick-input-widget input");
  await page.keyboard.type(place);
  await page.keyboard.press("Enter");
  const [line] = place.split(":");
  await page.waitForSelector(`.statusbar-item a[aria-label^="Ln ${line},"]`);
}

// hover looks at the mesh's name until the picture of a finding has come.
async function hover(page) {
  await at(page, "12:12");
  const show = async () => {
    await page.keyboard.press("Control+k");
    await page.keyboard.press("Control+i");
  };
  await show();
  const picture = page.locator(".monaco-hover img").first();
  await picture.waitFor({ state: "attached" });
  await show(); // once more puts the keys into the hover, so that it stays
  await page.waitForFunction(() => document.querySelector(".monaco-hover img")?.naturalWidth > 0);
  await picture.evaluate((p) => p.scrollIntoView({ block: "end" }));
  console.log(`picture ${await picture.evaluate((p) => p.src.split(";")[0])}`);
  await shoot(page, "hover");
  await page.keyboard.press("Escape");
  await page.keyboard.press("Escape");
}

// rename gives the mesh another name in the list of files.
async function rename(page) {
  await page.click('.explorer-folders-view .monaco-list-row:has-text("distributor.stl")');
  await page.keyboard.press("F2");
  await page.waitForSelector(".explorer-folders-view input");
  await page.keyboard.press("Control+a");
  await page.keyboard.type("pitch.stl");
  await page.keyboard.press("Enter");
  await page.click('.monaco-dialog-box .monaco-button:has-text("OK")'); // whether our edits may be made
  await page.waitForSelector('.explorer-folders-view .monaco-list-row:has-text("pitch.stl")');
  await page.click(`.tab:has-text("${env.CORBEL_NAME}")`);
  await page.waitForSelector('.view-line:has-text("pitch.stl")');
  await problems(page, env.CORBEL_OPENED);
  console.log("renamed");
  await shoot(page, "renamed");
}

main().catch((why) => {
  console.log(`FAIL ${why}`);
  process.exit(1);
});
