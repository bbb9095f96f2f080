// What is heard: a narrow window tells the same tables as a wide one, a row is headed by its requirement alone, and with
// colours forced nothing is lost.
import assert from 'node:assert/strict';
import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { after, before, test } from 'node:test';
import { packs, plain, visitor } from './design.mjs';
import { launch, open } from './support.mjs';

const axe = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

// The tables that are heard, each with its rows and cells.
async function heard(page) {
  const session = await page.context().newCDPSession(page);
  const { nodes } = await session.send('Accessibility.getFullAXTree');
  const by = new Map(nodes.map((node) => [node.nodeId, node]));
  const below = (node, role) =>
    (node.childIds ?? []).reduce((sum, id) => {
      const child = by.get(id);
      return child ? sum + (!child.ignored && child.role?.value === role ? 1 : 0) + below(child, role) : sum;
    }, 0);
  const tables = nodes.filter((node) => !node.ignored && node.role?.value === 'table');
  return tables.map((node) => [plain(node.name?.value ?? ''), below(node, 'row'), below(node, 'rowheader'), below(node, 'cell')].join(' | '));
}

for (const at of ['', 'current.1', 'voltage.1', 'race.1'])
  test(`${at || 'the overview'} tells the same tables at 390 as at 1280 px`, async () => {
    const [path] = await packs();
    const told = [];
    for (const width of [1280, 390])
      await visit({ viewport: { width, height: 844 } }, async (page) => {
        await open(page, path + at);
        told.push(await heard(page));
        const headed = await page.locator('table.req tbody th[scope="row"]').evaluateAll((heads) => heads.filter((head) => head.children.length > 1 || head.querySelector('small')).length);
        assert.equal(headed, 0, 'heads of rows that hold more than the requirement');
      });
    assert.ok(told[0].length > 0);
    assert.deepEqual(told[1], told[0]);
  });

for (const at of ['', 'pack', 'current.1', 'protection.1'])
  test(`with forced colours ${at || 'the overview'} is accessible, folded and unfolded`, async () => {
    const [path] = await packs();
    const context = await browser.newContext({ forcedColors: 'active', viewport: { width: 1280, height: 900 } });
    try {
      await context.addInitScript({ content: axe });
      const page = await context.newPage();
      await open(page, path + at);
      for (const open of [false, true]) {
        await page.evaluate((open) => document.querySelectorAll('details').forEach((part) => (part.open = open)), open);
        const { violations } = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
        assert.deepEqual(violations.map(({ id, nodes }) => `${id}: ${nodes.length} x, ${nodes[0].target}`), []);
      }
    } finally {
      await context.close();
    }
  });
