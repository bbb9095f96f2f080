// What is heard of a change, and where the jumps lead: a page is told by its live region, headings and links alone.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { packs, plain, visitor } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let pack;
before(async () => {
  browser = await launch();
  [pack] = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

for (const width of [1280, 390])
  for (const at of ['pack', 'current.1'])
    test(`the jump to the content passes the list of parts, ${at}, ${width} px`, () =>
      visit({ viewport: { width, height: 844 } }, async (page) => {
        await open(page, pack + at);
        await page.keyboard.press('Tab');
        await page.keyboard.press('Enter');
        await page.waitForFunction(() => document.activeElement?.localName === 'h1');
        await page.keyboard.press('Tab');
        assert.equal(plain(await page.evaluate(() => document.activeElement.textContent)), 'The whole design');
      }));
