// The pages as a reader uses them. Everything is opened from disk; any request that leaves the folder, any console
// message and any error fails the test in which it happens.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import path from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const small = process.env.PAGES_SMALL;
const large = process.env.PAGES_LARGE;
let browser;

before(async () => {
  browser = await chromium.launch({
    executablePath: process.env.CHROMIUM,
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });
});
after(async () => {
  await browser?.close();
});

/** Opens a page of a folder and watches it; `done` checks that nothing went wrong. */
async function open(folder, page = "index.html", options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, acceptDownloads: true, ...options });
  const tab = await context.newPage();
  const wrong = [];
  const root = pathToFileURL(folder + path.sep).href;
  tab.on("console", (message) => wrong.push(`console: ${message.text()}`));
  tab.on("pageerror", (error) => wrong.push(`error: ${error.message}`));
  tab.on("request", (request) => {
    if (!request.url().startsWith(root) && !request.url().startsWith("blob:")) wrong.push(`request: ${request.url()}`);
  });
  tab.on("requestfailed", (request) => {
    const why = request.failure()?.errorText;
    if (why !== "net::ERR_ABORTED") wrong.push(`failed: ${request.url()} ${why}`);
  });
  tab.on("dialog", (dialog) => {
    wrong.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  await tab.goto(root + page);
  return {
    tab,
    root,
    done: async () => {
      await context.close();
      assert.deepEqual(wrong, []);
    },
  };
}

const shownRows = (tab) => tab.locator("#ledger tbody tr:not([hidden])");
const names = (tab) => shownRows(tab).locator("th a").allTextContents();
const data = (tab, key) => shownRows(tab).evaluateAll((rows, k) => rows.map((r) => r.dataset[k]), key);

test("the overview tells the shoot in words and numbers", async () => {
  const { tab, done } = await open(small);
  const outcomes = await data(tab, "o");
  assert.equal(outcomes.length, 60);
  const prints = outcomes.filter((o) => o === "prints").length;
  assert.match(await tab.locator("h1").innerText(), new RegExp(`^${prints} of 60 frames print at 13 × 19 in$`));
  assert.equal(await tab.locator("svg.shoot desc").count(), 1);
  await done();
});

test("filters by outcome, finding, camera, lens, ISO, exposure time and name, alone and together", async () => {
  const { tab, done } = await open(small);
  const all = await data(tab, "p");
  await tab.selectOption("#ask-outcome", "fails");
  assert.ok((await data(tab, "o")).every((o) => o === "fails"));
  await tab.selectOption("#ask-finding", "shaken");
  const both = await shownRows(tab).evaluateAll((rows) => rows.map((r) => [r.dataset.o, r.dataset.f]));
  assert.ok(both.length > 0 && both.every(([o, f]) => o === "fails" && f.split(" ").includes("shaken")));
  await tab.click("#ask-all");
  assert.equal((await data(tab, "p")).length, all.length);

  await tab.selectOption("#ask-camera", "Norvik Fjord 24");
  assert.ok((await data(tab, "c")).every((c) => c === "Norvik Fjord 24"));
  await tab.selectOption("#ask-lens", "Halden 24-70 mm f/4 <L>");
  assert.ok((await data(tab, "l")).every((l) => l === "Halden 24-70 mm f/4 <L>"));
  await tab.click("#ask-all");

  const measure = (word) => tab.locator(`#ask-sort option[value="${word}"]`).evaluate((o) => [...o.parentElement.options].filter((x) => x.dataset.unit !== undefined).indexOf(o));
  const [iso, time] = [await measure("iso"), await measure("shutter")];
  await tab.selectOption("#ask-iso-from", "400");
  await tab.selectOption("#ask-iso-to", "1600");
  let values = (await data(tab, "v")).map((v) => Number(v.split(",")[iso]));
  assert.ok(values.length > 0 && values.every((v) => v >= 400 && v <= 1600), String(values));
  await tab.click("#ask-all");
  await tab.selectOption("#ask-shutter-from", { label: "1/60 s" });
  values = (await data(tab, "v")).map((v) => v.split(",")[time]);
  assert.ok(values.length > 0 && values.every((v) => v !== "" && Number(v) > 0.0166), String(values));
  await tab.click("#ask-all");

  await tab.fill("#ask-name", "größe");
  assert.deepEqual(await names(tab), ["Größe 雪原 📷 12.dng"]);
  await tab.fill("#ask-name", "no such name");
  assert.equal((await names(tab)).length, 0);
  assert.ok(await tab.locator("#nothing").isVisible());
  await done();
});

test("sorts by any measure, unknown last, and by the heads of the columns", async () => {
  const { tab, done } = await open(small);
  const words = await tab.locator("#ask-sort option[data-unit]").evaluateAll((options) => options.map((o) => o.value));
  assert.ok(words.length >= 15);
  for (const [index, word] of words.entries()) {
    for (const turn of ["", "falling"]) {
      await tab.selectOption("#ask-sort", word);
      await tab.selectOption("#ask-turn", turn);
      const values = (await data(tab, "v")).map((v) => v.split(",")[index]);
      const known = values.filter((v) => v !== "").map(Number);
      const sorted = [...known].sort((a, b) => (turn ? b - a : a - b));
      assert.deepEqual(known, sorted, word);
      assert.ok(values.slice(known.length).every((v) => v === ""), `${word}: unknown stands last`);
    }
  }
  await tab.click("thead button[data-sort=print]");
  assert.equal(await tab.locator("th.c-print").getAttribute("aria-sort"), "descending");
  await tab.click("thead button[data-sort=print]");
  assert.equal(await tab.locator("th.c-print").getAttribute("aria-sort"), "ascending");
  await done();
});

test("the choice stands in the address and comes back from it", async () => {
  const first = await open(small);
  await first.tab.selectOption("#ask-outcome", "prints");
  await first.tab.selectOption("#ask-sort", "rise");
  await first.tab.fill("#ask-name", "nvk");
  await shownRows(first.tab).nth(1).locator("input").check();
  await shownRows(first.tab).nth(3).locator("input").check();
  const wanted = [await names(first.tab), await first.tab.inputValue("#list-text")];
  const hash = new URL(first.tab.url()).hash;
  assert.match(hash, /outcome=prints/);
  await first.done();
  const second = await open(small, `index.html${hash}`);
  assert.deepEqual([await names(second.tab), await second.tab.inputValue("#list-text")], wanted);
  assert.equal(await second.tab.locator("#ledger input:checked").count(), 2);
  // Ticks of another set of frames are not taken up; nonsense is no error.
  await second.tab.goto(`${second.root}index.html#ticked=zzz.____&outcome=nonsense&sort=%3Cscript%3E`);
  assert.equal((await names(second.tab)).length, 60);
  assert.equal(await second.tab.locator("#ledger input:checked").count(), 0);
  await second.done();
});

test("the list holds what is shown, or what is ticked, as text and as a file", async () => {
  const { tab, done } = await open(small);
  await tab.selectOption("#ask-outcome", "prints");
  const paths = await data(tab, "p");
  assert.equal(await tab.inputValue("#list-text"), paths.join("\n"));
  await shownRows(tab).nth(2).locator("input").check();
  assert.equal(await tab.inputValue("#list-text"), paths[2]);
  await tab.click("#pick-shown");
  const [download] = await Promise.all([tab.waitForEvent("download"), tab.click("#list-save")]);
  assert.equal(await readFile(await download.path(), "utf8"), `${paths.join("\n")}\n`);
  await tab.click("#pick-none");
  assert.equal(await tab.locator("#ledger input:checked").count(), 0);
  await done();
});

test("a file named <script> is text everywhere", async () => {
  const { tab, done } = await open(small);
  assert.match(await tab.title(), /^invented shoot/);
  assert.equal(await tab.locator("main script").count(), 0);
  assert.equal(await tab.locator("[onmouseover]").count(), 0);
  const link = tab.locator("th a", { hasText: "<script>" });
  const name = await link.innerText();
  await link.click();
  assert.equal(await tab.locator("h1").innerText(), name);
  assert.match(await tab.title(), /^<script>document\.title='hostile'/);
  assert.equal(await tab.locator("main script").count(), 0);
  await tab.getByRole("link", { name: /^After:/ }).click();
  assert.equal(await tab.locator("[onmouseover]").count(), 0);
  assert.match(await tab.locator("h1").innerText(), /onmouseover/);
  await done();
});

test("every link and every picture of the folder leads somewhere", async () => {
  const { tab, root, done } = await open(small);
  const seen = new Set();
  const queue = ["index.html"];
  while (queue.length) {
    const page = queue.pop();
    if (seen.has(page)) continue;
    seen.add(page);
    const text = await readFile(path.join(small, page), "utf8");
    assert.match(text, /default-src 'none'/);
    assert.ok(!/ style="| on[a-z]+="/.test(text.replace(/&quot;/g, "")), `${page}: no inline style or handler`);
    await tab.goto(root + page);
    // Pictures far down load late: they are asked for now.
    const broken = await tab.evaluate(async () => {
      const images = [...document.images];
      for (const image of images) image.loading = "eager";
      await Promise.all(images.map((i) => i.decode().catch(() => {})));
      return images.filter((i) => !i.naturalWidth).map((i) => i.src);
    });
    assert.deepEqual(broken, [], page);
    const links = await tab.locator("a[href]").evaluateAll((all) => all.map((a) => a.href));
    for (const link of links) {
      const url = new URL(link);
      assert.ok(link.startsWith(root), `${page}: ${link}`);
      const file = decodeURIComponent(url.href.slice(root.length).split("#")[0]);
      if (file && !seen.has(file)) queue.push(file);
      if (url.hash && file === "words.html") {
        const id = decodeURIComponent(url.hash.slice(1));
        assert.ok((await readFile(path.join(small, file), "utf8")).includes(`id="${id}"`), `${page}: ${link}`);
      }
    }
  }
  assert.ok(seen.size >= 62, `${seen.size} pages`);
  await done();
});

/** A frame of the small shoot with a picture. */
async function frameWithPicture(tab) {
  return tab.locator("#ledger tr", { has: tab.locator("img") }).nth(7).locator("th a").getAttribute("href");
}

test("overlays are switched by buttons, lie on the picture and stand in the address", async () => {
  const { tab, root, done } = await open(small);
  // Every frame that clips begins with its main finding's overlay; an empty choice in the address shows none.
  const frames = await tab.locator("#ledger tr[data-f~=soft]", { has: tab.locator("img") }).locator("th a").evaluateAll((links) => links.map((a) => a.getAttribute("href")));
  await tab.goto(root + frames[0]);
  assert.ok((await tab.locator(".overlays button[aria-pressed=true]").count()) >= 1);
  const frame = new URL(tab.url()).pathname.split("/").pop();
  await tab.goto(`${root}index.html`);
  await tab.goto(`${root}frames/${frame}#show=`);
  const buttons = tab.locator(".overlays button");
  assert.ok((await buttons.count()) >= 6);
  for (const button of await buttons.all()) {
    const layer = await button.getAttribute("data-layer");
    const parts = layer === "crops" ? tab.locator(".layer-crops") : tab.locator(`#layer-${layer}`);
    assert.equal(await button.getAttribute("aria-pressed"), "false");
    assert.equal(await parts.first().evaluate((g) => getComputedStyle(g).display), "none");
    await button.click();
    assert.equal(await button.getAttribute("aria-pressed"), "true");
    assert.notEqual(await parts.first().evaluate((g) => getComputedStyle(g).display), "none");
  }
  const boxes = await tab.evaluate(() => ["img", ".over"].map((s) => document.querySelector(`.layers ${s}`).getBoundingClientRect().toJSON()));
  for (const side of ["x", "y", "width", "height"]) assert.ok(Math.abs(boxes[0][side] - boxes[1][side]) < 1, side);
  await tab.reload();
  assert.equal(await tab.locator(".overlays button[aria-pressed=true]").count(), await buttons.count());
  await done();
});

test("a hatch changes the clipped part of the picture and no other", async () => {
  const { tab, root, done } = await open(small);
  await tab.goto(`${root}${await frameWithPicture(tab)}#show=`);
  await tab.locator(".layers").scrollIntoViewIfNeeded();
  const box = await tab.locator(".layers img").boundingBox();
  const shot = async () => {
    const png = (await tab.screenshot({ clip: box })).toString("base64");
    // Read back in an empty page of the browser, which has no policy against data addresses.
    const blank = await (await browser.newContext()).newPage();
    const pixels = await blank.evaluate(async (data) => {
      const image = new Image();
      image.src = `data:image/png;base64,${data}`;
      await image.decode();
      const canvas = Object.assign(document.createElement("canvas"), { width: image.width, height: image.height });
      const context = canvas.getContext("2d");
      context.drawImage(image, 0, 0);
      return { width: image.width, height: image.height, data: [...context.getImageData(0, 0, image.width, image.height).data] };
    }, png);
    await blank.context().close();
    return pixels;
  };
  const plain = await shot();
  const layer = await tab.locator(".overlays button[data-layer^=clipped]").first().getAttribute("data-layer");
  await tab.locator(`button[data-layer=${layer}]`).click();
  const hatched = await shot();
  // The mask itself, through the same browser.
  const mask = await tab.evaluate(async (id) => {
    const source = document.querySelector(`#m-${id} image`);
    const image = new Image();
    image.src = source.href.baseVal;
    await image.decode();
    return { width: image.width, height: image.height };
  }, layer);
  assert.ok(mask.width > 100 && mask.height > 50);
  let changed = 0;
  let bright = 0;
  for (let i = 0; i < plain.data.length; i += 4) {
    const differs = [0, 1, 2].some((c) => Math.abs(plain.data[i + c] - hatched.data[i + c]) > 24);
    if (!differs) continue;
    changed++;
    // Only samples at saturation carry a hatch: the picture is white there.
    if (plain.data[i + 1] > 200) bright++;
  }
  const all = plain.data.length / 4;
  assert.ok(changed > 0.0005 * all, `${changed} of ${all}`);
  assert.ok(changed < 0.1 * all && bright > 0.97 * changed, `${bright} of ${changed} of ${all}`);
  await done();
});

test("can be used by keyboard alone", async () => {
  const { tab, done } = await open(small);
  const focused = () => tab.evaluate(() => document.activeElement.id || document.activeElement.textContent.trim().slice(0, 40));
  await tab.keyboard.press("Tab");
  assert.match(await focused(), /^Skip/);
  const reach = async (wanted, most = 120) => {
    for (let i = 0; i < most; i++) {
      if ((await focused()) === wanted) return;
      await tab.keyboard.press("Tab");
    }
    assert.fail(`${wanted} is not reached by the tab key`);
  };
  await reach("ask-outcome");
  await tab.keyboard.type("fail");
  assert.ok((await data(tab, "o")).every((o) => o === "fails"));
  await reach("ask-name");
  await tab.keyboard.type("nvk_31");
  const wanted = (await names(tab))[0];
  const before = (await names(tab)).length;
  assert.ok(before > 0 && before < 60);
  await reach("Largest print");
  await tab.keyboard.press("Enter");
  assert.equal(await tab.locator("th.c-print").getAttribute("aria-sort"), "descending");
  await tab.keyboard.press("Tab");
  await tab.keyboard.press("Space");
  assert.equal(await tab.locator("#ledger input:checked").count(), 1);
  await tab.keyboard.press("Tab");
  const name = await focused();
  await tab.keyboard.press("Enter");
  await tab.waitForURL(/frames\//);
  assert.equal(await tab.locator("h1").innerText(), name);
  assert.ok(wanted.length > 0);
  const overlay = (await tab.locator(".overlays button").first().textContent()).trim().slice(0, 40);
  await reach(overlay);
  const pressed = await tab.locator(".overlays button").first().getAttribute("aria-pressed");
  await tab.keyboard.press("Enter");
  assert.notEqual(await tab.locator(".overlays button").first().getAttribute("aria-pressed"), pressed);
  // What has the focus can be seen.
  const outline = await tab.evaluate(() => getComputedStyle(document.activeElement).outlineStyle);
  assert.notEqual(outline, "none");
  await done();
});

test("says its parts to a screen reader", async () => {
  const { tab, root, done } = await open(small);
  for (const page of ["index.html", await frameWithPicture(tab), "words.html"]) {
    await tab.goto(root + page);
    const lacking = await tab.evaluate(() => {
      const name = (e) => (e.getAttribute("aria-label") || e.labels?.[0]?.textContent || e.textContent || "").trim();
      const found = [];
      for (const e of document.querySelectorAll("button, select, input, textarea, a[href]")) if (!name(e)) found.push(e.outerHTML);
      for (const e of document.querySelectorAll("img:not([alt])")) found.push(e.outerHTML);
      for (const e of document.querySelectorAll("svg[role=img]")) if (!e.querySelector("title") || !e.querySelector("desc")) found.push(e.outerHTML.slice(0, 80));
      for (const e of document.querySelectorAll("svg:not([role=img]):not([aria-hidden])")) found.push(e.outerHTML.slice(0, 80));
      const ids = [...document.querySelectorAll("[id]")].map((e) => e.id);
      for (const id of ids) if (ids.indexOf(id) !== ids.lastIndexOf(id)) found.push(`twice: ${id}`);
      if (document.querySelectorAll("h1").length !== 1 || !document.querySelector("main")) found.push("one h1, one main");
      if (!document.documentElement.lang) found.push("lang");
      return found;
    });
    assert.deepEqual(lacking, [], page);
  }
  await done();
});

/** Contrast of text against the page by WCAG 2.1 (relative luminance, success criterion 1.4.3). */
const contrasts = (tab) =>
  tab.evaluate(() => {
    const parse = (c) => c.match(/[\d.]+/g).map(Number);
    const luminance = ([r, g, b]) => {
      const f = (v) => (v / 255 <= 0.03928 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
      return 0.2126 * f(r) + 0.7152 * f(g) + 0.0722 * f(b);
    };
    const behind = (e) => {
      for (let at = e; at; at = at.parentElement) {
        const c = parse(getComputedStyle(at).backgroundColor);
        if (c.length < 4 || c[3] === 1) return c;
      }
      return [255, 255, 255];
    };
    const low = [];
    for (const e of document.querySelectorAll("h1, h2, h3, p, a, small, figcaption, th, td, button, select, span, li, dt, dd, output, label")) {
      if (!e.textContent.trim() || e.closest("svg, .unseen, .skip, [hidden]") || !e.getClientRects().length) continue;
      const [a, b] = [luminance(parse(getComputedStyle(e).color)), luminance(behind(e))].sort((x, y) => y - x);
      const ratio = (a + 0.05) / (b + 0.05);
      if (ratio < 4.5) low.push(`${e.tagName} ${e.className} ${ratio.toFixed(2)} ${e.textContent.trim().slice(0, 30)}`);
    }
    return [...new Set(low)];
  });

for (const colorScheme of ["light", "dark"]) {
  test(`is readable in the ${colorScheme} scheme`, async () => {
    const { tab, root, done } = await open(small, "index.html", { colorScheme });
    const paper = await tab.evaluate(() => getComputedStyle(document.body).backgroundColor.match(/\d+/g).map(Number));
    assert.ok(colorScheme === "dark" ? paper[0] < 60 : paper[0] > 200, String(paper));
    for (const page of ["index.html", await frameWithPicture(tab), "words.html"]) {
      await tab.goto(root + page);
      assert.deepEqual(await contrasts(tab), [], page);
    }
    await done();
  });
}

test("fits a narrow window without scrolling sideways", async () => {
  const { tab, root, done } = await open(small, "index.html", { viewport: { width: 360, height: 740 } });
  const pages = ["index.html", await frameWithPicture(tab), "words.html", await tab.locator("th a", { hasText: "<script>" }).getAttribute("href")];
  for (const page of pages) {
    await tab.goto(root + page);
    const [wide, window] = await tab.evaluate(() => [document.documentElement.scrollWidth, innerWidth]);
    assert.ok(wide <= window, `${page}: ${wide} of ${window}`);
  }
  await tab.goto(`${root}index.html`);
  await tab.selectOption("#ask-outcome", "prints");
  assert.ok((await shownRows(tab).first().boundingBox()).width <= 360);
  await done();
});

test("says everything without its script", async () => {
  const { tab, root, done } = await open(small, "index.html", { javaScriptEnabled: false });
  assert.equal(await tab.locator("#ledger tbody tr").count(), 60);
  assert.ok(await tab.locator("noscript p").isVisible());
  await tab.goto(root + (await tab.locator("#ledger tr", { has: tab.locator("img") }).nth(7).locator("th a").getAttribute("href")));
  // Overlays cannot be switched: all are shown.
  assert.ok(await tab.locator(".layer").first().isVisible());
  await done();
});

// The time itself depends on what else the machine does: it is told, and held to the limit where RAWASSAY_TIMED is set
// (on a quiet machine). What makes the page slow or quick is counted always.
test("2000 frames: few elements, one layout of what is in view, pictures only as they come into view", async () => {
  const times = [];
  for (let run = 0; run < 5; run++) {
    const asked = [];
    const { tab, root, done } = await open(large, "words.html");
    tab.on("request", (request) => {
      if (request.url().endsWith("-small.jpg")) asked.push(request.url());
    });
    const start = performance.now();
    await tab.goto(`${root}index.html`, { waitUntil: "commit" });
    await tab.waitForFunction(() => document.documentElement.dataset.ready === "yes", undefined, { polling: 10 });
    await tab.selectOption("#ask-outcome", "fails");
    await tab.waitForFunction(() => /^\d+ of 2000/.test(document.querySelector("#shown").textContent), undefined, { polling: 10 });
    times.push(performance.now() - start);
    assert.ok(asked.length < 200, `${asked.length} pictures asked for`);
    if (run === 0) {
      const found = await tab.evaluate(async () => {
        const changes = [];
        const observer = new MutationObserver((records) => changes.push(...records));
        observer.observe(document.querySelector("#ledger"), { subtree: true, childList: true, attributes: true, characterData: true });
        const select = document.querySelector("#ask-outcome");
        select.value = "prints";
        select.dispatchEvent(new Event("input", { bubbles: true }));
        await new Promise((resolve) => setTimeout(resolve));
        return {
          elements: document.querySelectorAll("*").length,
          lazy: document.querySelectorAll("#ledger img[loading=lazy]").length,
          pictures: document.querySelectorAll("#ledger img").length,
          changes: changes.length,
          moved: changes.filter((c) => c.type === "childList").length,
          skipped: getComputedStyle(document.querySelector("#ledger tbody tr:not([hidden])")).contentVisibility,
        };
      });
      console.log(`2000 frames: ${JSON.stringify(found)}`);
      assert.ok(found.elements < 2000 * 25, `${found.elements} elements`);
      assert.equal(found.lazy, found.pictures);
      // A filter hides and shows rows; it builds none, moves none, and touches a row at most once or twice.
      assert.equal(found.moved, 0);
      assert.ok(found.changes <= 2 * 2000, `${found.changes} changes`);
      assert.equal(found.skipped, "auto", "rows out of view are not laid out");
    }
    await done();
  }
  console.log(`2000 frames: ready and filtered after ${times.map((t) => Math.round(t)).join(", ")} ms`);
  if (process.env.RAWASSAY_TIMED) assert.ok(Math.min(...times) < 1500, String(times));
});
