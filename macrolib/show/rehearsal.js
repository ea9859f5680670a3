// The part of a rehearsal that runs in the page: buttons, a progress bar, the words that the kernel sends.
const make = (tag, properties, ...inside) => {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...inside);
  return element;
};

function render({ model, el }) {
  const fixed = model.get('fixed');
  const bar = make('progress', { max: 1, ariaLabel: 'share of the plan that is done' });
  bar.style.cssText = 'width:100%;max-width:40rem;height:1.2rem;accent-color:#0072B2';
  const what = make('p', { className: 'title', role: 'status' });
  const words = make('p', { className: 'sentence' });
  const status = make('p', { className: 'status', role: 'alert' });
  let next = 0, running = false;
  const ask = (asked) => model.send({ what: asked });
  const button = (text, asked) => {
    const made = make('button', { type: 'button', textContent: text });
    made.addEventListener('click', () => ask(asked));
    return made;
  };
  const root = make('div', { className: 'macrolib-panel', role: 'group', ariaLabel: fixed.title },
    make('p', { className: 'title', textContent: fixed.title }), what, bar, words, status,
    make('div', { className: 'below' }, button('Start', 'start'), button('Stop', 'stop'), button('Back to the beginning', 'again')));
  const paint = (now) => {
    clearTimeout(next);
    bar.value = now.share ?? bar.value;
    if (now.what && what.textContent !== now.what) what.textContent = now.what;
    words.textContent = now.words;
    status.textContent = now.status;
    running = now.running;
    root.dataset.share = now.share;
    if (running) next = setTimeout(() => ask('look'), 100);
  };
  root.addEventListener('keydown', (event) => {
    if (event.key !== 'Escape' && !event.ctrlKey && !event.metaKey) event.stopPropagation();
  });
  paint({ ...fixed, running: false });
  model.on('msg:custom', paint);
  el.append(root);
  return () => { model.off('msg:custom', paint); clearTimeout(next); };
}
export default { render };
