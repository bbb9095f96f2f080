// What the tests of a design's pages share: another person's browser, the start page's packs, typing and pressing.
import assert from 'node:assert/strict';
import { attentive, base } from './support.mjs';

// The addresses of the start page's packs, each that of an overview.
export async function packs() {
  const start = await (await fetch(base)).text();
  return [...start.matchAll(/href="(\/worksheet\/[^"]+\/)"/g)].map(([, href]) => href);
}

// A context of its own has no history, no storage and no cache: another person's browser.
export const visitor = (browser) => async (options, work) => {
  const context = await browser().newContext({ viewport: { width: 1280, height: 900 }, ...options });
  try {
    const { page, faults } = await attentive(context);
    await work(page, context);
    assert.deepEqual(faults, []);
  } finally {
    await context.close();
  }
};

export const withAndWithout = [
  [true, 'with script'],
  [false, 'without script'],
];

export const plain = (text) => text.replace(/\s+/g, ' ').trim();
export const textOf = async (page, selector) => plain((await page.locator(selector).allInnerTexts()).join(' '));
export const field = (key) => `[id="${key}"]`;

// The path up to the page, and the page: the overview has none.
export const place = (address) => new URL(address, base).pathname.match(/^(.*\/)([^/]*)$/).slice(1);
export const tokenOf = (address) => place(address)[0].split('/')[2].split('~')[0];
// What is handed on: the design without where the visit began.
export const handedOn = (address) => new URL(`/worksheet/${tokenOf(address)}/${place(address)[1]}`, base).href;

// The words of the field that is left go away; a press after that meets what it is meant for.
const leave = (page) => page.evaluate(() => document.activeElement?.blur?.());

// A control may stand in a group that shows its first values only.
async function control(page, key) {
  await leave(page);
  const found = page.locator(field(key));
  const folded = page.locator(`details:not([open]):has(${field(key)})`);
  for (let left = await folded.count(); left > 0; left -= 1)
    await folded.first().locator('summary').first().click();
  return found;
}

export async function fill(page, key, text) {
  const found = await control(page, key);
  if (await found.evaluate((node) => node instanceof HTMLSelectElement)) await found.selectOption(text);
  else await found.fill(text);
}

// With script: types, and waits for the address of what is typed.
export async function type(page, key, text) {
  const from = page.url();
  await fill(page, key, text);
  await page.waitForFunction((old) => location.href !== old, from);
}

// Presses a button, or Enter in a field, and waits for the page that the answer leads to; gives the status of the answer
// to the form.
export async function press(page, button, how = (pressed) => pressed.click()) {
  await leave(page);
  const posted = page.waitForResponse((answer) => {
    const asked = answer.request();
    return asked.method() === 'POST' && asked.isNavigationRequest();
  });
  const [answer] = await Promise.all([posted, page.waitForEvent('load'), how(button)]);
  return answer.status();
}

export const recalculate = (page) => page.getByRole('button', { name: 'Recalculate' });
export const enter = (pressed) => pressed.press('Enter');

// A link, and the page that it leads to.
export const follow = (page, link) => Promise.all([page.waitForEvent('load'), link.click()]);

// Changes one value as a person does: with script by typing, without by the button.
export async function change(page, key, text, script) {
  if (script) return type(page, key, text);
  await fill(page, key, text);
  assert.equal(await press(page, recalculate(page)), 303);
}

// What a page shows of the fields it has.
export const values = (page) =>
  page.evaluate(() =>
    Object.fromEntries(
      [...document.querySelectorAll('.box :is(input, select, textarea):not([type])')].map((node) => [
        node.id,
        node.value,
      ]),
    ),
  );

// What is typed of a pack on an empty page, and the parts to begin with.
export const ferry = {
  title: 'Ferry',
  'pack.cells_in_series': '96',
  'pack_v.max_v': '400',
  'pack_v.nominal_v': '350',
  'pack_v.min_v': '250',
  'pack.cell_capacity_ah': '50',
  'pack.cell_resistance_ohm': '1m',
  'pack.continuous_a': '300',
  'pack.peak_a': '600',
  'pack.peak_duration_s': '10',
  'pack.busbars_ohm': '5m',
  'pack.loop_inductance_henry': '2u',
  'pack.ripple_current_a': '10',
  'pack.ambient_min_degc': '-20',
  'pack.ambient_max_degc': '60',
};
export async function fillPack(page) {
  for (const [key, text] of Object.entries(ferry)) await fill(page, key, text);
  await leave(page);
}
export const begun = ['Current channel', 'Voltage channel', 'Temperature channel', 'Current threshold', 'Pre-charge'];
