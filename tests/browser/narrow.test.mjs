// Where room is scarce, or colours are not ours: nothing is cut without a sign, nothing is invisible, nothing stands in the way.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { packs, visitor } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let pack;
before(async () => {
  browser = await launch();
  [pack] = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);
const phone = { viewport: { width: 390, height: 844 } };

// Whether everything fits, or an edge shows that there is more.
const shows = (nodes) =>
  nodes.filter((node) => node.scrollWidth > node.clientWidth && !/gradient/.test(getComputedStyle(node).backgroundImage)).map((node) => node.textContent.slice(0, 60));

test('the tabs of a design of many parts are all seen', () =>
  visit({}, async (page) => {
    await open(page, `${pack}current.1`);
    const tabs = page.locator('.bar.quiet ul');
    assert.ok(await tabs.evaluate((node) => node.scrollWidth <= node.clientWidth));
  }));

test('what is wider than a phone shows that there is more', () =>
  visit(phone, async (page) => {
    for (const path of [`${pack}current.1`, pack, '/divider']) {
      await open(page, path);
      assert.ok((await page.locator('.scroll, .bar ul').count()) > 0);
      assert.deepEqual(await page.locator('.scroll, .bar ul').evaluateAll(shows), [], path);
    }
  }));

test('a reason that is opened on a phone begins where its row begins', () =>
  visit(phone, async (page) => {
    await open(page, pack);
    const why = page.locator('#requirements .why').first();
    await why.locator('summary').click();
    assert.match(await why.locator('p').first().evaluate((node) => getComputedStyle(node).textAlign), /^(start|left)$/);
  }));

test('forced colours keep the tick and the cross inside of the signs', () =>
  visit({ forcedColors: 'active' }, async (page) => {
    await open(page, pack);
    const [cut, canvas] = await page.evaluate(() => {
      const probe = document.body.appendChild(document.createElement('i'));
      probe.style.color = 'Canvas';
      return [getComputedStyle(document.querySelector('#s-bad .s-cut')).stroke, getComputedStyle(probe).color];
    });
    assert.equal(cut, canvas);
  }));

test('no key stops at a field that is not seen', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${pack}current.1`);
    const unseen = await page.locator('.vh :is(input, a, button, select)').evaluateAll((nodes) => nodes.filter((node) => node.tabIndex >= 0).map((node) => node.id));
    assert.deepEqual(unseen, []);
  }));

test('on a screen of a few lines the strip and the button go away with the page', () =>
  visit({ viewport: { width: 320, height: 256 } }, async (page) => {
    await open(page, `${pack}current.1`);
    await page.evaluate(() => window.scrollTo({ top: 700, behavior: 'instant' }));
    assert.ok(await page.locator('.strip').evaluate((node) => node.getBoundingClientRect().bottom <= 0));
    assert.equal(await page.locator('.lean > .acts').evaluate((node) => getComputedStyle(node).position), 'static');
  }));
