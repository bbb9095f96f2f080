// What changed since a visit began: parts that came and went, ties by name, and the way back.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { fill, fillPack, follow, handedOn, packs, plain, press, textOf, visitor } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let pack;
before(async () => {
  browser = await launch();
  [pack] = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

const since = (page) => textOf(page, '.since summary');
const told = async (page) => plain(await page.locator('.since').textContent());
const takeBack = async (page, name) => {
  await page.locator('.since summary').click();
  await follow(page, page.getByRole('link', { name: `take back ${name}`, exact: true }));
};
const add = (page) => page.getByRole('button', { name: 'Add what is ticked' });
const document = async (page) => (await fetch(new URL('document.json', handedOn(page.url())))).json();

test('a part that was removed or added is told, compared with the beginning, and taken back', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, pack);
    const began = await document(page);
    await open(page, `${pack}balancing.1`);
    assert.equal(await press(page, page.getByRole('button', { name: /^Remove/ })), 303);
    assert.equal(await since(page), 'Changed since you began: 1 part removed');
    await page.getByLabel('Voltage channel', { exact: true }).check();
    await press(page, add(page));
    await follow(page, page.getByRole('link', { name: 'The whole design' }));
    assert.equal(await since(page), 'Changed since you began: 1 part removed, 1 part added');
    assert.match(await told(page), /Balancing: removed .*Voltage channel: added/);
    assert.equal(await page.locator('.since a[href="compare"]').count(), 1);
    await takeBack(page, 'Voltage channel');
    await takeBack(page, 'Balancing');
    assert.equal(await page.locator('.since').count(), 0);
    assert.deepEqual(await document(page), began);
  }));

test('a tie is told by the name of the part, is no change of a new part, and taking it back types nothing', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, '/worksheet');
    await fillPack(page);
    for (const name of ['Voltage channel', 'Pre-charge'])
      await page.locator('.ticks li').filter({ hasText: name }).getByRole('checkbox').check();
    assert.equal(await press(page, page.getByRole('button', { name: 'Start the design' })), 303);
    for (const name of ['Current channel', 'Current threshold'])
      await page.getByLabel(name, { exact: true }).check();
    await press(page, add(page));
    assert.equal(await since(page), 'Changed since you began: 2 parts added');

    await follow(page, page.locator('.plist a[href="precharge.1"]'));
    const tied = await document(page);
    await fill(page, 'precharge.1.rests_on', '');
    assert.equal(await press(page, page.getByRole('button', { name: 'Recalculate' })), 303);
    assert.match(await told(page), /Pre-charge: Rests on: Voltage channel → nothing/);
    await takeBack(page, 'Pre-charge: Rests on');
    assert.equal(await since(page), 'Changed since you began: 2 parts added');
    assert.deepEqual(await document(page), tied);
  }));
