// The part of the hand-led carriage that runs in the page: a native slider as the control, a drawing of the rail, the last
// seconds as two lines. While something moves it asks the kernel for each next moment; up to four questions may be on their
// way, each with the time and the reading of its own moment, so that a slow answer delays the picture and changes nothing.
const make = (tag, properties, ...inside) => {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...inside);
  return element;
};
const draw = (tag, attributes, ...inside) => {
  const element = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...inside);
  return element;
};
const WIDTH = 720, HEIGHT = 330, LEFT = 20, TOP = 120, SECONDS = 8;
const EVERY = 30, ON_THEIR_WAY = 4;  // ms, questions
const BLUE = '#0072B2', RED = '#D55E00';

function render({ model, el }) {
  const fixed = model.get('fixed'), [low, high] = fixed.view;
  const x = (place) => LEFT + (WIDTH - 2 * LEFT) * (place - low) / (high - low);
  const y = (ago) => TOP + (HEIGHT - TOP - 22) * ago / SECONDS;
  const positions = fixed.positions, [least, most] = fixed.turns;
  const range = make('input', { type: 'range', min: least * positions, max: most * positions, step: 1 });
  range.value = 0;
  range.style.flex = '6 1 16rem';
  const turns = () => Number(range.value) / positions;
  const words = make('p', { className: 'sentence', textContent: fixed.words });
  const said = make('p', { role: 'status' });
  said.style.cssText = 'position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)';
  const status = make('p', { className: 'status', role: 'alert' });
  const back = make('button', { type: 'button', textContent: 'Back to the start mark' });
  const beside = (place) => (x(place) < 70 ? 'start' : x(place) > WIDTH - 70 ? 'end' : 'middle');
  const label = (text, place, height, anchor = beside(place)) =>
    draw('text', { x: x(place), y: height, 'text-anchor': anchor, 'font-size': 13, fill: 'black' }, text);
  const set = draw('path', { d: 'M -8 -16 L 8 -16 L 0 -3 Z', fill: 'white', stroke: RED, 'stroke-width': 2.5 });
  const carriage = draw('path', { d: 'M -11 3 L 11 3 L 11 17 L -11 17 Z', fill: BLUE });
  const lines = [draw('polyline', { stroke: RED, 'stroke-dasharray': '7 4' }), draw('polyline', { stroke: BLUE })];
  lines.forEach((line) => { line.setAttribute('fill', 'none'); line.setAttribute('stroke-width', 2.2); });
  const mark = (place) => draw('line', { x1: x(place), x2: x(place), y1: 32, y2: HEIGHT - 22, stroke: 'black', 'stroke-dasharray': '2 4' });
  const stop = (place) => draw('rect', { x: x(place) - 3, y: 44, width: 6, height: 34, fill: 'black' });
  const picture = draw('svg', { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, width: WIDTH, role: 'img', style: 'max-width:100%;height:auto;background:white' },
    draw('line', { x1: x(low), x2: x(high), y1: 80, y2: 80, stroke: '#666666', 'stroke-width': 4 }),
    ...fixed.marks.flatMap((place, i) => [mark(place), label(fixed.names[i], place, 26)]),
    ...fixed.view.flatMap((place, i) => (fixed.ends[i] ? [stop(place), label(fixed.ends[i], place, 100)] : [])),
    ...lines, label('now', low, TOP + 4), label(`${SECONDS} s ago`, low, HEIGHT - 24), set, carriage);
  const control = make('label', {}, make('span', { textContent: 'control (turns)' }), range);
  const root = make('div', { className: 'macrolib-panel', role: 'group', ariaLabel: fixed.title },
    make('p', { className: 'title', textContent: fixed.title }), make('div', { className: 'row' }, control), status, picture, words,
    make('p', { textContent: 'Above, the rail: the triangle is the set-point, the box is the carriage. Below, where they were, '
      + 'now at the top: dashed the set-point, solid the carriage.' }),
    make('div', { className: 'below' }, back), said);

  let asked = 0, turned = false, clock = 0, past = [], updates = 0, rest = 0;
  const send = (what) => {
    [asked, turned] = [asked + 1, false];
    model.send({ what, time: performance.now() / 1000, turns: turns() });
  };
  const ask = () => {
    if (asked < ON_THEIR_WAY) send('hand');
    clock = setTimeout(ask, EVERY);
  };
  const pause = () => { clearTimeout(clock); clock = 0; };
  const paint = (now) => {
    asked = Math.max(0, asked - 1);
    status.textContent = now.status;
    if (now.status) { pause(); return; }
    const time = performance.now() / 1000;
    past.push([now.time, now.set_point, now.position]);
    past = past.filter(([t]) => time - t < SECONDS);
    set.setAttribute('transform', `translate(${x(now.set_point)} 80)`);
    carriage.setAttribute('transform', `translate(${x(now.position)} 62)`);
    lines.forEach((line, i) => line.setAttribute('points', past.map((p) => `${x(p[i + 1]).toFixed(1)},${y(time - p[0]).toFixed(1)}`).join(' ')));
    words.textContent = now.words;
    picture.setAttribute('aria-label', `Rail with set-point and carriage. ${now.words}`);
    root.dataset.updates = ++updates;
    clearTimeout(rest);
    // A screen reader speaks the words once all has come to rest.
    if (now.moving || turned) { if (!clock) ask(); return; }
    pause();
    rest = setTimeout(() => { said.textContent = `At rest. ${now.words}`; }, 400);
  };
  const name = () => range.setAttribute('aria-valuetext', `${turns().toFixed(2)} turns`);
  range.addEventListener('input', () => { turned = true; said.textContent = ''; name(); if (!clock) ask(); });
  back.addEventListener('click', () => { range.value = 0; name(); past = []; send('back'); });
  root.addEventListener('keydown', (event) => {
    if (event.key !== 'Escape' && !event.ctrlKey && !event.metaKey) event.stopPropagation();
  });
  name();
  for (const [shape, height] of [[set, 80], [carriage, 62]]) shape.setAttribute('transform', `translate(${x(fixed.marks[0])} ${height})`);
  picture.setAttribute('aria-label', `Rail with set-point and carriage. ${fixed.words}`);
  model.on('msg:custom', paint);
  el.append(root);
  return () => { model.off('msg:custom', paint); pause(); clearTimeout(rest); };
}
export default { render };
