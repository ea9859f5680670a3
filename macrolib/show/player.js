// The part of a preview that runs in the page: a still, a button that plays the film once, a button that stops it.
const make = (tag, properties, ...inside) => {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...inside);
  return element;
};

function render({ model, el }) {
  const fixed = model.get('fixed');
  const image = make('img', { width: fixed.width, alt: `${fixed.title}. ${fixed.sentence}` });
  const play = make('button', { type: 'button', textContent: fixed.play });
  const stop = make('button', { type: 'button', textContent: 'Stop', disabled: true });
  const state = make('p', { className: 'sentence', role: 'status', textContent: 'Not playing.' });
  let address = '', end = 0, wanted = false;
  // A new address each time: an animated picture begins at its first frame, and plays as often as it says, once.
  const show = (bytes) => {
    URL.revokeObjectURL(address);
    address = URL.createObjectURL(new Blob([bytes], { type: 'image/png' }));
    image.src = address;
  };
  const rest = () => {
    clearTimeout(end);
    wanted = false;
    show(model.get('still'));
    [play.disabled, stop.disabled, state.textContent] = [false, true, 'Not playing.'];
  };
  const run = () => {
    if (!wanted || !model.get('film').byteLength) return;
    show(model.get('film'));
    state.textContent = 'Playing once.';
    end = setTimeout(rest, 1000 * fixed.seconds + 300);
  };
  play.addEventListener('click', () => {
    wanted = true;
    [play.disabled, stop.disabled, state.textContent] = [true, false, 'The film is being made.'];
    if (model.get('film').byteLength) run(); else model.send({ what: 'play' });
  });
  stop.addEventListener('click', rest);
  model.on('change:film', run);
  const root = make('div', { className: 'macrolib-panel', role: 'group', ariaLabel: fixed.title },
    make('p', { className: 'title', textContent: fixed.title }), image,
    make('p', { textContent: fixed.sentence }), make('div', { className: 'below' }, play, stop), state);
  root.addEventListener('keydown', (event) => {
    if (event.key !== 'Escape' && !event.ctrlKey && !event.metaKey) event.stopPropagation();
  });
  rest();
  el.append(root);
  return () => { model.off('change:film', run); clearTimeout(end); URL.revokeObjectURL(address); };
}
export default { render };
