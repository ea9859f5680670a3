// The part of a panel that runs in the page: native sliders and text boxes, the picture, the sentence, the status line.
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
    const named = slider.names.length > 0; // then the slider speaks the name, and there is nothing to type
    const typed = named ? make('span', { ariaHidden: 'true' })
      : make('input', { type: 'text', inputMode: 'decimal', size: 7, autocomplete: 'off', ariaLabel: `${slider.title}: type a value` });
    const paint = (x) => {
      range.value = nearest(slider.positions, x);
      range.setAttribute('aria-valuetext', named ? slider.names[range.value] : `${plain(x)} ${slider.unit}`.trim());
      if (named) typed.textContent = slider.names[range.value];
      else typed.value = plain(x);
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
