// How long and how heavy the pages of a design and of the API reference are, and that none is wider than its window.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { packs } from './design.mjs';
import { base, launch, open, reference } from './support.mjs';

let browser;
// The parts of each pack; the largest has the most.
let designs;
let largest;
before(async () => {
  browser = await launch();
  designs = [];
  // One after another: all at once is more than the server lets wait, here and for the tests beside.
  for (const path of await packs()) {
    const answer = await fetch(base + path);
    assert.equal(answer.status, 200, path);
    const names = (await answer.text()).matchAll(/<th scope="row"><a href="([a-z]+\.\d+)">/g);
    designs.push({ path, parts: [...new Set([...names].map(([, part]) => part))] });
  }
  largest = designs.reduce((most, one) => (one.parts.length > most.parts.length ? one : most));
});
after(() => browser.close());

const channel = (part) => /^(current|voltage|temperatures)\./.test(part);

// As loaded, with what is folded closed.
async function measure(page, path, width) {
  await page.setViewportSize({ width, height: 900 });
  await open(page, path);
  return measured(page);
}

const measured = (page) => page.evaluate(() => [document.scrollingElement.scrollHeight, document.scrollingElement.scrollWidth]);

// The limits of a page in pixels, by the width of its window: no script of ours asks for the width, so that a page is loaded
// once and its window made narrower, as a reader does.
const high = (overview) => [
  [1280, 6_000],
  [390, overview ? 9_000 : 8_000],
  [320, Infinity],
];

test('no page of a pack is longer, wider or heavier than it may be', async () => {
  const page = await browser.newPage();
  for (const { path, parts } of designs)
    for (const part of ['', 'pack', ...parts]) {
      const named = `${path.slice(0, 24)} ${part || 'overview'}`;
      await page.setViewportSize({ width: 1280, height: 900 });
      const answer = await open(page, path + part);
      const size = Buffer.byteLength(await answer.text());
      const most = part === '' ? 200_000 : channel(part) ? 180_000 : 150_000;
      assert.ok(size <= most, `${named}: ${size} bytes`);
      for (const [width, longest] of high(part === '')) {
        await page.setViewportSize({ width, height: 900 });
        const [height, wide] = await measured(page);
        assert.ok(height <= longest, `${named}: ${height} px at ${width}`);
        assert.ok(wide <= width, `${named}: ${wide} px wide at ${width}`);
      }
    }
  await page.close();
});

test('a new design is no longer or wider than it may be', async () => {
  const page = await browser.newPage();
  for (const [width, longest] of high(true)) {
    const [height, wide] = await measure(page, '/worksheet', width);
    assert.ok(height <= longest, `${height} px`);
    assert.ok(wide <= width, `${wide} px wide`);
  }
  await page.close();
});

// As many parts as the schema allows, each with a name as long as it may be.
async function fullest(path) {
  const read = async (at) => (await fetch(base + at)).json();
  const [{ engine, ...design }, { components }] = await Promise.all([read(`${path}document.json`), read('/api/openapi.json')]);
  for (const [section, { maxItems }] of Object.entries(components.schemas.design.properties)) {
    const parts = design[section];
    if (section === 'assumed' || !Array.isArray(parts) || !parts.length) continue;
    const name = (number) => `${section} ${number}, `.padEnd(60, 'upper half of the second string ');
    design[section] = Array.from({ length: maxItems }, (_, at) => ({ ...parts[at % parts.length], number: at + 1, name: name(at + 1) }));
  }
  // One barrier alone describes the bus.
  for (const part of design.isolation.slice(1)) for (const group of ['bus', 'monitor', 'touch', 'y']) delete part[group];
  const headers = { 'content-type': 'application/json' };
  const answer = await fetch(`${base}/api/v1/links`, { method: 'POST', body: JSON.stringify(design), headers });
  assert.equal(answer.status, 200);
  return (await answer.json()).link;
}

test('the overview of a design with all parts that the schema allows is no longer or heavier than it may be', async () => {
  const page = await browser.newPage();
  const path = new URL(await fullest(largest.path), base).pathname;
  const [height, wide] = await measure(page, path, 1280);
  assert.ok((await page.locator('.plist th[scope=row]').count()) > 40, 'all parts');
  assert.ok(height <= 12_000, `${height} px`);
  assert.ok(wide <= 1280, `${wide} px wide`);
  const size = Buffer.byteLength(await (await fetch(base + path)).text());
  assert.ok(size <= 400_000, `${size} bytes`);
  await page.close();
});

// A calculation alone; of those with very many values, groups, tables and later pictures stand folded.
for (const [width, most] of [
  [1280, 8_000],
  [390, 12_000],
  [320, Infinity],
])
  test(`no calculation alone is longer than it may be or wider than its window, ${width} px`, async () => {
    for (const javaScriptEnabled of [true, false]) {
      const context = await browser.newContext({ javaScriptEnabled });
      const page = await context.newPage();
      for (const path of ['/charge-counting', '/isolation', '/current-channel', '/voltage-channel']) {
        await page.setViewportSize({ width, height: 900 });
        await open(page, path);
        const high = await page.evaluate(() => [document.scrollingElement.scrollHeight, document.scrollingElement.scrollWidth]);
        assert.ok(high[0] <= most, `${path}: ${high[0]} px`);
        assert.ok(high[1] <= width, `${path}: ${high[1]} px wide`);
      }
      await context.close();
    }
  });

test('a page that tells what a change has moved is no wider than its window', async () => {
  const page = await browser.newPage();
  for (const width of [390, 320]) {
    const [, wide] = await measure(page, `${designs[0].path}set?at=current.1&current.1.shunt.resistance_ohm=100u`, width);
    assert.ok((await page.locator('.now-was').count()) > 0, 'something moved');
    assert.ok(wide <= width, `${wide} px wide`);
  }
  await page.close();
});

test('no page of the API reference is longer than it may be', async () => {
  const page = await browser.newPage();
  const found = await reference();
  assert.ok(found.length > 20, `${found.length} pages`);
  for (const path of ['/api', ...found]) {
    const [height] = await measure(page, path, 1280);
    assert.ok(height <= 10_000, `${path}: ${height} px`);
  }
  await page.close();
});
