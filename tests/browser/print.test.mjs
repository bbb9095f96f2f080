// On paper: whole pages, nothing cut off at the right edge, and the address to find it again.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { packs } from './design.mjs';
import { base, launch, open } from './support.mjs';

let browser;
let designs;
before(async () => {
  browser = await launch();
  designs = await packs();
});
after(() => browser.close());

const sheets = async (page) => {
  const paper = (await page.pdf({ format: 'A4', preferCSSPageSize: true })).toString('latin1');
  return paper.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
};

test('the current channel prints on A4', async () => {
  const page = await browser.newPage();
  await open(page, '/current-channel');
  const paper = (await page.pdf({ format: 'A4', preferCSSPageSize: true })).toString('latin1');
  const sheets = paper.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
  assert.ok(sheets > 1, `${sheets} sheets`);
  const boxes = [...paper.matchAll(/\/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)/g)].map(([, w, h]) => [
    Math.round(w),
    Math.round(h),
  ]);
  // 210 mm x 297 mm in points.
  for (const [width, height] of boxes)
    assert.ok(Math.abs(width - 595) <= 1 && Math.abs(height - 842) <= 1, `${width} x ${height}`);
  await page.close();
});

for (const colorScheme of ['light', 'dark']) {
  test(`nothing is cut off on paper, from a ${colorScheme} screen`, async () => {
    // 180 mm, the text width of the sheet, at 96 px an inch.
    const context = await browser.newContext({ viewport: { width: 680, height: 1000 }, colorScheme });
    const page = await context.newPage();
    await open(page, '/current-channel');
    await page.emulateMedia({ media: 'print' });
    // The style sheet must open by itself what would otherwise be lost, so nothing is opened here.
    const cut = await page.evaluate(() =>
      [...document.querySelectorAll('.scroll, table, figure, svg')]
        .filter((node) => node.getClientRects().length)
        .filter(
          (node) =>
            node.getBoundingClientRect().right > window.innerWidth + 1 ||
            (!(node instanceof SVGElement) && node.scrollWidth > node.clientWidth + 1),
        )
        .map((node) => `${node.tagName} ${node.getAttribute('class')} "${node.textContent.trim().slice(0, 40)}"`),
    );
    assert.deepEqual(cut, []);
    // A field on paper cannot be scrolled, so its text has to fit. A list shows its choice, whose width only drawing it
    // tells.
    const short = await page.evaluate(() => {
      const pen = document.createElement('canvas').getContext('2d');
      const room = (node, style) => node.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
      const wide = (node, style, text) => {
        pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
        return pen.measureText(text).width > room(node, style) + 1;
      };
      return [...document.querySelectorAll('main :is(input, select)')]
        .filter((node) => node.getClientRects().length)
        .map((node) => [node, node.selectedOptions ? node.selectedOptions[0].text : node.value])
        .filter(([node, text]) => wide(node, getComputedStyle(node), text))
        .map(([node, text]) => `${node.id} "${text}"`);
    });
    assert.deepEqual(short, [], 'fields whose text does not fit');
    const paint = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    assert.match(paint, /rgba\(0, 0, 0, 0\)|rgb\(255, 255, 255\)/, 'paper is white, whatever the screen');
    const buttons = await page.evaluate(
      () => [...document.querySelectorAll('button')].filter((node) => node.getClientRects().length).length,
    );
    assert.equal(buttons, 0, 'buttons have no use on paper');
    await context.close();
  });
}

test('a calculation prints what was changed, and how many values stand as they start', async () => {
  const page = await browser.newPage();
  for (const [path, keys, words] of [
    ['/charge-counting', [], /^All (\d+) values as they start\.$/],
    ['/charge-counting?v=1&counter.gain_percent=0.4&anchor.rest_s=3600', ['counter.gain_percent', 'anchor.rest_s'], /^All other values as they start \((\d+)\)\.$/],
    ['/shunt?v=1&shunt.resistance_ohm=50u', ['shunt.resistance_ohm'], /^All other values as they start \((\d+)\)\.$/],
  ]) {
    await page.emulateMedia({ media: 'screen' });
    await open(page, path);
    const all = await page.locator('#values .f').count();
    await page.emulateMedia({ media: 'print' });
    const seen = page.locator('#values .f:visible');
    assert.deepEqual(await seen.evaluateAll((rows) => rows.map((row) => row.querySelector('[name]').name)), keys, path);
    for (const key of keys) assert.ok(await page.locator(`[id="${key}"]`).isVisible(), key);
    const rest = page.locator('[data-live=unprinted]');
    assert.ok(await rest.isVisible());
    assert.equal(Number((await rest.innerText()).match(words)?.[1]), all - keys.length, path);
    assert.equal(await page.locator('#values legend:visible').count(), new Set(keys.map((key) => key.split('.')[0])).size, path);
  }
  await page.close();
});

test('a part prints every value that was typed, folded or not', async () => {
  const page = await browser.newPage();
  for (const part of ['isolation.1', 'safety.1', 'current.1']) {
    await open(page, designs[0] + part);
    await page.emulateMedia({ media: 'print' });
    const typed = page.locator('#values .f.chg');
    assert.ok((await typed.count()) > 5, part);
    assert.equal(await page.locator('#values .f.chg:visible').count(), await typed.count(), part);
    await page.emulateMedia({ media: 'screen' });
  }
  await page.close();
});

// Eight points in pixels, less what a layout rounds.
const LEAST = (8 * 96) / 72 - 0.05;

test('the core of every report is eight sheets at most, values typed and appendix begin on a sheet of their own', async () => {
  const page = await browser.newPage({ viewport: { width: 680, height: 1000 } });
  for (const design of designs) {
    await open(page, `${design}report`);
    await page.emulateMedia({ media: 'print' });
    // Sheets of both would depend on what is left below the core without its appendix, so the style is asked.
    const begins = await page.evaluate(() =>
      [document.querySelector('.core .values').closest('.sec'), document.querySelector('.appendix')].map((node) => getComputedStyle(node).breakBefore),
    );
    assert.deepEqual(begins, ['page', 'page'], 'values typed and appendix begin on a sheet of their own');
    await page.evaluate(() => document.querySelector('.appendix').remove());
    const core = await sheets(page);
    assert.ok(core >= 3 && core <= 8, `${core} sheets of core: ${design.slice(0, 30)}`);
    // Entry for signatures stands on the first sheet, 263 mm high; what decides may need a second where much fails.
    const signed = await page.locator('.sign').evaluate((node) => node.getBoundingClientRect().bottom + window.scrollY);
    assert.ok(signed < (263 * 96) / 25.4, `signatures of ${design.slice(0, 30)} end at ${signed} px`);
    await page.evaluate(() => document.querySelectorAll('.core > .page-start, .core > .page-start ~ *').forEach((node) => node.remove()));
    assert.ok((await sheets(page)) <= 2, `first page of ${design.slice(0, 30)}`);
  }
  await page.close();
});

test('a report shows nothing smaller than 8 pt on paper, and no letter outside its drawing', async () => {
  const page = await browser.newPage({ viewport: { width: 680, height: 1000 } });
  for (const design of designs) {
    await open(page, `${design}report`);
    await page.emulateMedia({ media: 'print' });
    const small = await page.evaluate((least) => {
      const walker = document.createTreeWalker(document.querySelector('.report'), NodeFilter.SHOW_TEXT);
      const found = new Set();
      for (let node = walker.nextNode(); node; node = walker.nextNode()) {
        const own = node.parentElement;
        if (!node.data.trim() || !own.checkVisibility() || own.closest('.vh, title, desc')) continue;
        const scale = own instanceof SVGElement ? own.getScreenCTM().a : 1;
        const size = parseFloat(getComputedStyle(own).fontSize) * scale;
        if (size < least) found.add(`${size.toFixed(1)} px ${own.tagName}.${own.getAttribute('class')} "${node.data.trim().slice(0, 30)}"`);
      }
      return [...found].slice(0, 10);
    }, LEAST);
    assert.deepEqual(small, []);
    const outside = await page.evaluate(() =>
      [...document.querySelectorAll('.report svg text')]
        .filter((node) => node.checkVisibility())
        .filter((node) => {
          const box = node.getBoundingClientRect();
          return box.right > window.innerWidth + 1 || box.left < -1;
        })
        .map((node) => node.textContent),
    );
    assert.deepEqual(outside, []);
  }
  await page.close();
});

test('what stands on start values says so on paper as it does on the screen', async () => {
  const page = await browser.newPage();
  for (const design of designs) {
    await open(page, design);
    const told = (await page.locator('.verdict .lead').first().innerText()).match(/(\d+) on start values/g) ?? [];
    await open(page, `${design}report`);
    assert.deepEqual((await page.locator('.verdict .lead').innerText()).match(/(\d+) on start values/g) ?? [], told);
    const marked = await page.locator('#req .v:has-text("on start values")').count();
    if (told.length) assert.ok(marked > 0, design.slice(0, 30));
  }
  await page.close();
});

test('every value typed stands in the core of a report, with where an assumed one comes from', async () => {
  const page = await browser.newPage();
  for (const design of designs) {
    const document = await (await fetch(base + design + 'document.json')).json();
    await open(page, `${design}report`);
    const count = await page.locator('.core .values dl > div').count();
    const leaves = (value) =>
      Array.isArray(value) || typeof value !== 'object' ? 1 : Object.values(value).reduce((sum, one) => sum + leaves(one), 0);
    const own = ([key, value]) => (key === 'number' || key === 'name' || key === 'of' ? 0 : leaves(value));
    const parts = Object.values(document).filter(Array.isArray).flat().filter((part) => part.number);
    const head = leaves(document.pack ?? {}) + leaves(document.requirements ?? {});
    const typed = parts.flatMap((part) => Object.entries(part)).reduce((sum, one) => sum + own(one), head);
    assert.equal(count, typed, design.slice(0, 30));
    const shown = await page.locator('.core .values').innerText();
    for (const { why } of document.assumed) assert.ok(shown.includes(`assumed: ${why}`), why);
  }
  await page.close();
});

test('a part on paper says whose it is and of when, and its values follow what is required of it', async () => {
  const page = await browser.newPage({ viewport: { width: 680, height: 1000 } });
  for (const at of ['isolation.1?all=yes', 'current.1', 'pack']) {
    const title = (await (await fetch(`${base}${designs[0]}document.json`)).json()).title;
    await open(page, designs[0] + at);
    await page.emulateMedia({ media: 'print' });
    const head = await page.locator('.of-design').innerText();
    assert.ok(head.includes(title), head);
    assert.match(head, / fingerprint [0-9A-F]{8} · \d+ [A-Z][a-z]+ \d{4} \(UTC\)/);
    const top = (selector) => page.locator(selector).first().evaluate((node) => node.getBoundingClientRect().top);
    assert.ok((await top('.of-design')) < (await top('h1')));
    const address = await top('.find');
    for (const one of ['h1', '#values', ...(at === 'pack' ? [] : ['.own', '.out .chart'])]) assert.ok((await top(one)) < address, `the address comes last, after ${one}`);
    if (at !== 'pack') {
      assert.ok((await top('.own')) < (await top('#values')), 'requirements first');
      assert.ok((await top('#values')) < (await top('.out .chart')), 'values before what explains');
    }
    await page.emulateMedia({ media: 'screen' });
  }
  await page.close();
});
