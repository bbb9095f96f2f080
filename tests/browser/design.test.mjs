// A whole design the way an engineer goes: open a pack, change it, hand it on, hold two against each other, print it.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { attentive, base, launch, open } from './support.mjs';

let browser;
// The addresses of the start page's packs.
let packs;
before(async () => {
  browser = await launch();
  const start = await (await fetch(base)).text();
  packs = [...start.matchAll(/href="(\/worksheet\?d=[^"]+)"/g)].map(([, href]) => href);
});
after(() => browser.close());

const report = (pack) => pack.replace('/worksheet', '/report');
const field = (key) => `[id="${key}"]`;
const resistance = field('current.1.shunt.resistance_ohm');
// What follows from the values, worst case first, then part by part.
const results = ':is([data-live="verdict"], [data-live^="out-"])';

// A context of its own is another person's browser.
async function visit(options, work) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  try {
    const { page, faults } = await attentive(context);
    await work(page, context);
    assert.deepEqual(faults, []);
  } finally {
    await context.close();
  }
}

const plain = (text) => text.replace(/\s+/g, ' ').trim();
const textOf = async (page, selector = results) => plain((await page.locator(selector).allInnerTexts()).join(' '));

// What would change a verdict comes last, when the values rest.
const settled = (page) => page.waitForFunction(() => !document.querySelector('[data-late] [data-wait]'));

// The figures by region and name, with the former value that stands at each.
const figures = (page) =>
  page.evaluate(() =>
    [...document.querySelectorAll('[data-live]')].flatMap((region) =>
      [...region.querySelectorAll('.kf > div')].map((row) => {
        const value = row.querySelector('dd').cloneNode(true);
        const notes = [...value.querySelectorAll('small')];
        const was = notes.filter((note) => note.matches('.was')).map((note) => note.dataset.was);
        notes.forEach((note) => note.remove());
        value.querySelectorAll('.u').forEach((unit) => unit.prepend(' '));
        return [
          `${region.dataset.live}: ${row.querySelector('dt').textContent}`,
          value.textContent.replace(/\s+/g, ' ').trim(),
          was.map((text) => text.replace(/\s+/g, ' ')),
        ];
      }),
    ),
  );

const type = async (page, key, text) => {
  const from = page.url();
  await page.locator(field(key)).fill(text);
  await page.waitForFunction((old) => location.href !== old, from);
};

const recalculate = (page) => page.locator('button[value="recalculate"]').first();

// Presses a button, or Enter in a field, and waits for the page that the answer leads to; gives the redirect's status.
async function press(page, button, how = (pressed) => pressed.click()) {
  const posted = page.waitForResponse((answer) => {
    const asked = answer.request();
    return asked.method() === 'POST' && asked.isNavigationRequest();
  });
  await Promise.all([page.waitForEvent('load'), how(button)]);
  return (await posted).status();
}

test('a typed value changes results, address and link box, and the link shows the same to someone else', async () => {
  let address;
  let shown;
  await visit({}, async (page) => {
    await open(page, '/');
    await page.locator('main a[href^="/worksheet?d="]').first().click();
    await page.waitForSelector('#req');
    await page.evaluate(() => (window.sameLoad = true));
    const before = await figures(page);
    const rows = page.locator('#req tbody tr');
    const lead = await textOf(page, '.verdict .lead');
    assert.match(lead, /requirements? hold/);
    const from = await page.locator('#addr').inputValue();

    await type(page, 'current.1.shunt.resistance_ohm', '36u');
    assert.ok(await page.evaluate(() => window.sameLoad), 'no reload');
    assert.match(await page.locator('#live-status').innerText(), /^Recalculated\. .*requirements/);
    address = page.url();
    assert.equal(await page.locator('#addr').inputValue(), address);
    assert.notEqual(address, from);
    const token = new URL(address).searchParams.get('d');
    for (const id of ['#to-compare', '#to-report']) {
      assert.ok((await page.locator(id).getAttribute('href')).endsWith(`?d=${token}`), id);
    }

    // Every figure that moved shows what it was, once; no other does.
    const now = await figures(page);
    assert.equal(now.length, before.length);
    now.forEach(([name, value, was], index) => {
      const [, old] = before[index];
      assert.deepEqual(was, value === old ? [] : [`was ${old}`], name);
    });
    assert.ok(now.some(([name, , was]) => name.startsWith('out-current.1') && was.length));
    const moved = rows.filter({ has: page.locator('.was') });
    assert.match(await moved.first().locator('.was').getAttribute('data-was'), /^was [−\d]/);
    for (const text of await moved.locator('th a').allInnerTexts()) assert.doesNotMatch(text, /Pack voltage/);

    await settled(page);
    assert.match(await textOf(page, '[data-late]'), /What would change a verdict/);
    shown = await textOf(page);
  });
  await visit({}, async (page) => {
    await open(page, address);
    assert.equal(await textOf(page), shown);
    assert.equal(await page.locator(resistance).inputValue(), '36 µ');
  });

  // Without script the button does the same, down to the link.
  await visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, packs[0]);
    await page.locator(resistance).fill('36u');
    assert.equal(await press(page, recalculate(page)), 303);
    assert.equal(await page.locator('#addr').inputValue(), address);
    assert.equal(new URL(page.url()).searchParams.get('d'), new URL(address).searchParams.get('d'));
    assert.ok((await page.locator('#req .was').count()) > 0, 'the former values');
    assert.equal(await textOf(page), shown);
  });
});

for (const javaScriptEnabled of [true, false]) {
  test(`a slip is named, reachable and kept, ${javaScriptEnabled ? 'with' : 'without'} script`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, packs[0]);
      const before = await textOf(page, '#req');
      await page.locator(resistance).fill('36O');
      const enter = (control) => control.press('Enter');
      assert.equal(await press(page, page.locator(resistance), enter), 422);

      assert.match(await page.title(), /^Error: /);
      const summary = page.locator('div.summary[data-focus]');
      // What rests on the part is not blamed, too.
      assert.match(await summary.innerText(), /1 value needs a correction/);
      if (javaScriptEnabled) {
        assert.ok(await summary.evaluate((node) => node === document.activeElement), 'the summary has the focus');
      }
      assert.equal(await page.locator(resistance).inputValue(), '36O');
      assert.equal(await page.locator(resistance).getAttribute('aria-invalid'), 'true');
      const words = await page.locator(`.f.bad:has(${resistance}) .err`).innerText();
      const link = summary.locator('a[href="#current.1.shunt.resistance_ohm"]');
      assert.ok(words.includes(await link.innerText()), words);
      assert.equal(await textOf(page, '#req'), before, 'the results of the last set stand');
      await link.click();
      assert.equal(await page.evaluate(() => document.activeElement.id), 'current.1.shunt.resistance_ohm');

      // Mended, it goes on from there.
      await page.locator(resistance).fill('36u');
      assert.equal(await press(page, page.locator(resistance), enter), 303);
      assert.equal(await page.locator('.summary').count(), 0);
      assert.notEqual(await textOf(page, '#req'), before);
    }));
}

test('parts come and go by buttons, and a file brings the same design', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, '/worksheet');
    const start = await page.locator('#addr').inputValue();
    const part = page.locator('[data-live="out-temperatures.0"]');
    assert.equal(await part.count(), 0);
    assert.match(await textOf(page, '#temperatures'), /not assessed/);
    assert.equal(await press(page, page.getByRole('button', { name: 'Add a temperature channel' })), 303);
    assert.match(page.url(), /#temperatures$/);
    assert.match(await textOf(page, '[data-live="out-temperatures.0"]'), /\d/);
    const grown = await page.locator('#addr').inputValue();

    const file = await (await fetch(`${base}/api/v1/links/${new URL(grown).searchParams.get('d')}`)).text();
    await page.locator('#document').fill(file);
    assert.equal(await press(page, page.getByRole('button', { name: 'Open', exact: true })), 303);
    assert.equal(await page.locator('#addr').inputValue(), grown);

    assert.equal(await press(page, page.locator('#temperatures button[value="remove:temperatures.0"]')), 303);
    assert.equal(await part.count(), 0);
    assert.equal(await page.locator('#addr').inputValue(), start);
  }));

for (const javaScriptEnabled of [true, false]) {
  test(`values go to a part's own page and back, ${javaScriptEnabled ? 'with' : 'without'} script`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, packs[0]);
      const title = await textOf(page, 'h1');
      await page.locator('[data-live="out-current.1"] .files a', { hasText: 'its own page' }).click();
      await page.waitForSelector('form.carry');
      const own = field('shunt.resistance_ohm');
      if (javaScriptEnabled) {
        await type(page, 'shunt.resistance_ohm', '36u');
      } else {
        await page.locator(own).fill('36u');
        await Promise.all([page.waitForEvent('load'), page.locator('#values button[type="submit"]').click()]);
      }
      assert.match(page.url(), /[?&]design=.*&at=current\.0/);
      assert.equal(await press(page, page.getByRole('button', { name: /^Take these values back/ })), 303);
      assert.equal(await textOf(page, 'h1'), title);
      assert.match(page.url(), /#current\.0$/);
      assert.equal(await page.locator(resistance).inputValue(), '36 µ');
      assert.ok((await page.locator('#req .was').count()) > 0, 'the former values');
    }));
}

test('the block for the ticket is handed on by a button, with link and fingerprint', () =>
  visit({ permissions: ['clipboard-read', 'clipboard-write'] }, async (page) => {
    await open(page, packs[0]);
    await type(page, 'current.1.shunt.resistance_ohm', '36u');
    await page.getByRole('button', { name: 'Copy the block' }).click();
    await page.waitForFunction(() => document.querySelector('#live-status').textContent === 'Copied.');
    const block = await page.evaluate(() => navigator.clipboard.readText());
    assert.ok(block.includes(page.url()), 'the link of what is seen');
    assert.match(block, /^fingerprint +[0-9A-F]{8} /m);
    assert.match(block, /^(fails|thin|holds) /m);
    assert.match(block, /^assumed /m);
    assert.equal(block, await page.locator('#ticket').evaluate((node) => node.textContent));
  }));

test('two pasted links show only the values that differ', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, packs[0]);
    const first = await page.locator('#addr').inputValue();
    await page.locator(resistance).fill('36u');
    await press(page, recalculate(page));
    const second = await page.locator('#addr').inputValue();
    await open(page, '/compare');
    await page.getByLabel('Design A').fill(first);
    await page.getByLabel('Design B').fill(second);
    await Promise.all([page.waitForEvent('load'), page.getByRole('button', { name: 'Compare' }).click()]);

    const differ = page.locator('table.diff', { hasText: 'Values that differ' }).locator('tbody tr');
    assert.equal(await differ.count(), 1);
    assert.match(await plain(await differ.innerText()), /^Shunt A: Shunt, resistance 35 µΩ 36 µΩ$/);
    const outcomes = page.locator('table.diff', { hasText: 'Outcomes' }).locator('tbody tr');
    assert.ok((await outcomes.count()) > 5);
    // Those that differ come first.
    const moved = await outcomes.evaluateAll((rows) => rows.map((row) => row.querySelector('td.new') !== null));
    assert.ok(moved[0]);
    assert.ok(moved.lastIndexOf(true) < (moved.includes(false) ? moved.indexOf(false) : moved.length));
  }));

test('a link that cannot be opened says so', () =>
  visit({}, async (page) => {
    await open(page, `/compare?d=${new URL(packs[0], base).searchParams.get('d')}&d=nonsense`, 400);
    assert.match(await textOf(page, '.summary'), /Design 2/);
    await open(page, '/worksheet?d=nonsense', 400);
  }));

// Two at a time: a page prints in a process of its own, so both cores have work.
describe('the report prints on A4', { concurrency: 2 }, async () => {
  for (const index of [0, 1, 2, 3, 4]) {
    test(`pack ${index + 1}`, () =>
      // 180 mm, the text width of the sheet, at 96 px an inch.
      visit({ viewport: { width: 680, height: 1000 }, colorScheme: index % 2 ? 'dark' : 'light' }, async (page) => {
        await open(page, report(packs[index]));
        await page.emulateMedia({ media: 'print' });
        const cut = await page.evaluate(() =>
          [...document.querySelectorAll('.scroll, table, tr, figure, svg, dl, .idblock dd')]
            .filter((node) => node.getClientRects().length)
            .filter(
              (node) =>
                node.getBoundingClientRect().right > window.innerWidth + 1 ||
                (!(node instanceof SVGElement) && node.scrollWidth > node.clientWidth + 1),
            )
            .map((node) => `${node.tagName} ${node.getAttribute('class')} "${node.textContent.trim().slice(0, 40)}"`),
        );
        assert.deepEqual(cut, []);
        // A heading goes to the next sheet with what follows it.
        const loose = await page.evaluate(() =>
          [...document.querySelectorAll('h2, h3, caption, figcaption, .sec-head')]
            .filter((node) => node.getClientRects().length && getComputedStyle(node).breakAfter !== 'avoid')
            .filter((node) => !node.closest('.verdict, .sec-head, figure'))
            .map((node) => node.textContent.trim().slice(0, 40)),
        );
        assert.deepEqual(loose, []);

        const paper = (await page.pdf({ format: 'A4', preferCSSPageSize: true })).toString('latin1');
        const sheets = paper.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
        const parts = await page.locator('.page-start').count();
        assert.ok(sheets > parts && sheets < 5 * parts, `${sheets} sheets for ${parts} parts`);
        const boxes = [...paper.matchAll(/\/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)/g)];
        // 210 mm x 297 mm in points.
        for (const [, width, height] of boxes)
          assert.ok(Math.abs(width - 595) <= 1 && Math.abs(height - 842) <= 1, `${width} x ${height}`);
        assert.match(await textOf(page, '.idblock'), /Fingerprint.*[0-9A-F]{8}/);
        assert.ok((await textOf(page, '.idblock')).includes(new URL(packs[index], base).href), 'the address in full');
      }));
  }
});
