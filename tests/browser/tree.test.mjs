// What is heard: a narrow window tells the same tables as a wide one, a row is headed by its requirement alone, and with
// colours forced nothing is lost.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { packs, plain, visitor } from './design.mjs';
import { audited, hindrancesBothWays, launch, open } from './support.mjs';

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

test('a narrow window says which number is the share used', () =>
  visit({ viewport: { width: 390, height: 844 } }, async (page) => {
    const [path] = await packs();
    await open(page, `${path}current.1`);
    const words = await page.locator('table.own td[data-l=Used]:not(.no)').evaluateAll((cells) => cells.map((cell) => getComputedStyle(cell, '::before').content));
    assert.ok(words.length > 0);
    for (const word of words) assert.match(word, /Used/);
  }));

// The rows of the tables that are heard, each cell as it is told.
async function told(page) {
  const session = await page.context().newCDPSession(page);
  const { nodes } = await session.send('Accessibility.getFullAXTree');
  const by = new Map(nodes.map((node) => [node.nodeId, node]));
  const below = (node, role) =>
    (node.childIds ?? []).flatMap((id) => {
      const child = by.get(id);
      if (!child) return [];
      return !child.ignored && role(child.role?.value) ? [child] : below(child, role);
    });
  const text = (node) => plain(below(node, (role) => role === 'StaticText').map((one) => one.name.value).join(' '));
  const rows = nodes.filter((node) => !node.ignored && node.role?.value === 'row');
  return rows.map((row) => below(row, (role) => /^(cell|rowheader|columnheader)$/.test(role)).map(text));
}

for (const width of [1280, 390])
  for (const at of ['', 'current.1', '/divider'])
    test(`bars are not heard, a required value is told once and as a bound, ${at || 'the overview'}, ${width} px`, () =>
      visit({ viewport: { width, height: 844 } }, async (page) => {
        const [path] = await packs();
        await open(page, at === '/divider' ? at : path + at);
        const rows = await told(page);
        assert.ok(rows.length > 5);
        let bounds = 0;
        for (const row of rows) {
          // A total that is not judged has no word.
          const cells = row.length === 3 ? row.slice(0, 2) : row;
          assert.ok(cells.every((cell) => cell !== '' && !/as a bar/.test(cell)), row.join(' | '));
          if (row[1] === 'Required') continue;
          assert.ok(!row.some((cell) => /^(Required|Achieved|Margin|Used|Value) /.test(cell)), row.join(' | '));
          bounds += row.filter((cell) => /^at (most|least) [−\d]/.test(cell)).length;
        }
        assert.ok(bounds > 1, `${bounds} bounds`);
      }));

test('the bound is the one that the numbers tell', () =>
  visit({}, async (page) => {
    const [path] = await packs();
    await open(page, path);
    const heard = [];
    for (const row of await told(page)) if (/^at /.test(row[1] ?? '')) heard.push([row[0], row[1]]);
    const bound = (name) => heard.find(([head]) => head.includes(name))?.[1] ?? '';
    assert.ok(heard.some(([, words]) => words.startsWith('at most')) && heard.some(([, words]) => words.startsWith('at least')));
    assert.match(bound('Reading error'), /^at most/);
  }));

for (const at of ['', 'pack', 'current.1', 'protection.1'])
  test(`with forced colours ${at || 'the overview'} is accessible, folded and unfolded`, async () => {
    const [path] = await packs();
    const context = await browser.newContext({ forcedColors: 'active', viewport: { width: 1280, height: 900 } });
    try {
      await audited(context);
      const page = await context.newPage();
      await open(page, path + at);
      assert.deepEqual(await hindrancesBothWays(page), []);
    } finally {
      await context.close();
    }
  });
