const read = id => JSON.parse(document.getElementById(id).textContent);
const columns = read('tables');
const specs = read('specs');

/** Turn columns into rows; each chart gets rows of its own. */
const rowsOf = name => {
  const names = Object.keys(columns[name]);
  const length = names.length ? columns[name][names[0]].length : 0;
  return Array.from({length}, (_, at) => Object.fromEntries(names.map(n => [n, columns[name][n][at]])));
};

const views = [];
const status = document.getElementById('picked');
let picked = '';

/** Light one case in every chart and table; the same case again, or none, lights all. */
const pick = code => {
  picked = code === picked ? '' : code;
  for (const view of views) view.signal('picked', picked).runAsync();
  for (const el of document.querySelectorAll('[data-case]'))
    el.classList.toggle('lit', picked !== '' && el.dataset.case === picked);
  document.getElementById('picked-case').textContent = picked;
  status.hidden = picked === '';
};

/** Draw one chart into its place and let a click on a mark pick its case. */
const draw = async el => {
  const {spec, tables} = specs[el.id];
  const datasets = Object.fromEntries(tables.map(name => [name, rowsOf(name)]));
  const made = await window.vegaEmbed(el, {...spec, datasets},
    {mode: 'vega-lite', actions: false, renderer: 'svg', ast: true, tooltip: {theme: 'custom'}});
  made.view.addEventListener('click', (_, item) => pick(item?.datum?.case ?? ''));
  views.push(made.view);
};

for (const el of document.querySelectorAll('.chart')) {
  try { await draw(el); } catch (error) { console.error(el.id, error); }
}

document.addEventListener('click', event => {
  const button = event.target.closest('button[data-case]');
  if (button) pick(button.dataset.case);
});
document.getElementById('picked-clear').addEventListener('click', () => pick(''));
document.addEventListener('keydown', event => { if (event.key === 'Escape') pick(''); });
document.documentElement.dataset.drawn = String(views.length);
