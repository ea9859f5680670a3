"""The part of a panel that runs in the page: native sliders and text boxes, the picture, the sentence, the status line."""

__all__ = ["LOOK", "SCRIPT"]

SCRIPT = """
const make = (tag, properties, ...inside) => {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...inside);
  return element;
};
const nearest = (list, x) =>
  list.reduce((best, p, i) => (Math.abs(p - x) < Math.abs(list[best] - x) ? i : best), 0);
const plain = (x) => String(Number(x.toPrecision(6)));

function render({ model, el }) {
  const fixed = model.get('fixed');
  let numbers = { ...model.get('shown').numbers };
  // Every request names all values: while the kernel is busy only the last request reaches it.
  const ask = (changed) => {
    sentence.ariaBusy = 'true';
    model.set('asked', { count: model.get('asked').count + 1, numbers: { ...numbers, ...changed } });
    root.dataset.asked = model.get('asked').count;
    model.save_changes();
  };
  const rows = fixed.sliders.map((slider) => {
    const range = make('input', { type: 'range', min: 0, max: slider.positions.length - 1, step: 1 });
    const typed = make('input', { type: 'text', inputMode: 'decimal', size: 7, autocomplete: 'off' });
    typed.ariaLabel = `${slider.title}: type a value`;
    const paint = (x) => {
      range.value = nearest(slider.positions, x);
      range.setAttribute('aria-valuetext', `${plain(x)} ${slider.unit}`.trim());
      typed.value = plain(x);
    };
    range.addEventListener('input', () => {
      numbers[slider.name] = slider.positions[range.value];
      paint(numbers[slider.name]);
      ask({});
    });
    typed.addEventListener('change', () => ask({ [slider.name]: typed.value }));
    const label = make('label', {}, make('span', { textContent: slider.title }), range);
    return { slider, paint, row: make('div', { className: 'row' }, label, typed) };
  });
  const image = make('img', { width: fixed.width, height: fixed.height });
  const sentence = make('p', { className: 'sentence', role: 'status' });
  const status = make('p', { className: 'status', role: 'alert' });
  const back = make('button', { type: 'button', textContent: 'Back to the start values' });
  back.addEventListener('click', () => ask(Object.fromEntries(fixed.sliders.map((s) => [s.name, s.start]))));
  const below = make('div', { className: 'below' }, back);
  if (fixed.keeps) {
    const replace = make('input', { type: 'checkbox' });
    const keep = make('button', { type: 'button', textContent: 'Keep these values' });
    keep.addEventListener('click', () => model.send({ what: 'keep', replace: replace.checked }));
    below.append(keep, make('label', {}, replace, make('span', { textContent: 'replace the file if it exists' })));
  }
  const root = make('section', { className: 'macrolib-panel', ariaLabel: fixed.title },
    make('p', { className: 'title', textContent: fixed.title }),
    make('div', { className: 'rows' }, ...rows.map((r) => r.row)), status, image, sentence, below);
  // The notebook's own shortcuts would take arrows and letters away from the controls.
  root.addEventListener('keydown', (event) => {
    if (event.key !== 'Escape' && !event.ctrlKey && !event.metaKey) event.stopPropagation();
  });

  let address = '', last = null, rest = 0;
  const show = () => {
    const shown = model.get('shown'), bytes = model.get('png');
    if (bytes !== last) {
      const old = address;
      address = URL.createObjectURL(new Blob([bytes], { type: 'image/png' }));
      image.onload = () => { URL.revokeObjectURL(old); root.dataset.count = shown.count; };
      image.src = address;
      last = bytes;
    } else root.dataset.count = shown.count;
    image.alt = shown.alt;
    image.classList.toggle('stale', shown.stale);
    if (sentence.textContent !== shown.sentence) sentence.textContent = shown.sentence;
    if (status.textContent !== shown.status) status.textContent = shown.status;
    if (shown.count === model.get('asked').count) {
      numbers = { ...shown.numbers };
      rows.forEach((r) => r.paint(numbers[r.slider.name]));
    }
    // A screen reader speaks the sentence once the values have come to rest.
    clearTimeout(rest);
    rest = setTimeout(() => { sentence.ariaBusy = 'false'; }, 500);
  };
  rows.forEach((r) => r.paint(numbers[r.slider.name]));
  show();
  model.on('change:shown', show);
  el.append(root);
  return () => { model.off('change:shown', show); clearTimeout(rest); URL.revokeObjectURL(address); };
}
export default { render };
"""

LOOK = """
.macrolib-panel { max-width: 60rem; padding: 0.5rem 0; color: inherit; line-height: 1.35; }
.macrolib-panel p { margin: 0.3rem 0; }
.macrolib-panel .title { font-weight: bold; font-size: 1.1em; }
.macrolib-panel .rows { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(24rem, 100%), 1fr)); gap: 0.2rem 1.5rem; }
.macrolib-panel .row { display: flex; align-items: center; gap: 0.5rem; }
.macrolib-panel .row label { flex: 1; display: flex; flex-wrap: wrap; align-items: center; gap: 0 0.5rem; }
.macrolib-panel .row span { flex: 1 1 11rem; }
.macrolib-panel input[type=range] { flex: 1 1 8rem; min-width: 6rem; min-height: 1.6rem; accent-color: #0072B2; margin: 0; }
.macrolib-panel input[type=text] { width: 5em; font: inherit; padding: 0.1rem 0.3rem; text-align: right; }
.macrolib-panel img { display: block; max-width: 100%; height: auto; background: white; }
.macrolib-panel img.stale { opacity: 0.35; }
.macrolib-panel .status { min-height: 1.35em; font-weight: bold; }
.macrolib-panel .status:not(:empty)::before { content: "! "; }
.macrolib-panel .sentence { max-width: 45rem; min-height: 2.7em; }
.macrolib-panel .below { display: flex; flex-wrap: wrap; gap: 0.3rem 1rem; align-items: center; }
.macrolib-panel button { font: inherit; padding: 0.2rem 0.7rem; }
.macrolib-panel :focus-visible { outline: 3px solid #0072B2; outline-offset: 2px; }
"""
