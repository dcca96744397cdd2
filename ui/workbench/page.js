/* What the page does without asking the server: keys beside a field, what is half typed, timers. Runs once a page. */
(function () {
  if (window.fnPage) { window.fnPage.look(); return; }
  const all = (what, from) => [...(from || document).querySelectorAll(what)];
  const field = name => document.querySelector(`.st-key-${CSS.escape(name)} input`);
  const kept = {
    get: name => { try { return localStorage.getItem(name); } catch { return null; } },
    set: (name, value) => { try { value ? localStorage.setItem(name, value) : localStorage.removeItem(name); } catch { } },
  };

  // ---- fields -------------------------------------------------------------------------------------------------------
  const nativeValue = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, 'value').set;
  function type(input, text) {  // as if it had been typed: React listens to the event, not to the value
    nativeValue.call(input, text);
    input.dispatchEvent(new Event('input', {bubbles: true}));
  }
  const LIMIT = {over: '>', under: '<'};
  const PARTS = /^\s*([<>]?)\s*(-?)\s*(.*?)\s*([a-zA-ZµΩ°%\/]*)\s*$/;
  function press(key) {
    const input = field(key.parentElement.dataset.field);
    if (!input) return;
    let [, limit, sign, number, unit] = input.value.match(PARTS) || ['', '', '', input.value, ''];
    const does = key.dataset.does;
    if (does === 'sign') sign = sign ? '' : '-';
    if (does === 'unit') unit = key.dataset.what;
    if (does in LIMIT) limit = limit === LIMIT[does] ? '' : LIMIT[does];
    type(input, limit + sign + number + (unit ? ' ' + unit : ''));
    input.focus({preventScroll: true});
    const end = (limit + sign + number).length;
    input.setSelectionRange(end, end);
  }
  document.addEventListener('pointerdown', e => { if (e.target.closest?.('.fn-keys button')) e.preventDefault(); });

  // ---- what is half typed at the card -------------------------------------------------------------------------------
  let draft = null, leaving = null, box = null, putting = false;
  function card() {
    const keys = document.querySelector('.fn-keys[data-draft]'), input = field('entry');
    if (!keys || !input) { draft = null; return; }
    if (leaving && input.value === '') { kept.set(leaving, ''); leaving = null; }
    const {begin, begun} = keys.dataset;  // a reading to be corrected is put back into the field, once
    if (begun && kept.get('fn begun') !== begun) { kept.set('fn begun', begun); kept.set(keys.dataset.draft, begin); }
    const was = kept.get(keys.dataset.draft) || '';
    // the server's widget may empty a field after it was drawn: what was kept is then put back
    const emptied = was && !leaving && input.value === '';
    if (draft === keys.dataset.draft && box === input && !emptied) return;
    draft = keys.dataset.draft;
    box = input;
    if (input.value === was) return;
    putting = true;  // a widget that is not ready yet may throw it away: then it is put back later, and not forgotten
    type(input, was);
    putting = false;
  }
  document.addEventListener('input', e => {
    if (draft && !putting && e.target === field('entry')) kept.set(draft, e.target.value);
  }, true);  // before the server's widget draws: what was emptied by hand would be put back
  const leave = () => { leaving = draft; };
  document.addEventListener('keydown', e => { if (e.key === 'Enter' && e.target === field('entry')) leave(); }, true);

  // ---- timers -------------------------------------------------------------------------------------------------------
  let sound = null;
  function tone() {  // made here: three short notes
    try {
      sound = sound || new AudioContext();
      window.fnPage.rung += 1;
      [0, .35, .7].forEach(at => {
        const note = sound.createOscillator(), loud = sound.createGain();
        note.frequency.value = 880;
        loud.gain.setValueAtTime(.3, sound.currentTime + at);
        loud.gain.exponentialRampToValueAtTime(.001, sound.currentTime + at + .3);
        note.connect(loud).connect(sound.destination);
        note.start(sound.currentTime + at);
        note.stop(sound.currentTime + at + .3);
      });
    } catch { }
  }
  const clock = left => {
    const s = Math.max(0, Math.ceil(left / 1000)), two = n => String(n).padStart(2, '0');
    return s >= 3600 ? `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}` :
      `${Math.floor(s / 60)}:${two(s % 60)}`;
  };
  function timers() {
    all('.fn-timer').forEach(timer => {
      const [end, rung] = (kept.get(timer.dataset.timer) || '').split('|');
      const state = !end ? 'still' : Date.now() >= +end ? 'over' : 'running';
      const words = timer.querySelector('.left'), button = timer.querySelector('button');
      const shown = state === 'still' ? clock(1000 * timer.dataset.seconds) : state === 'over' ? 'time is up' :
        clock(+end - Date.now());
      if (words.textContent !== shown) words.textContent = shown;
      const does = state === 'still' ? 'Start' : state === 'over' ? 'Again' : 'Stop';
      if (button.textContent !== does) button.textContent = does;
      if (timer.dataset.state !== state) {
        timer.dataset.state = state;
        timer.querySelector('.said').textContent = state === 'over' ? `${timer.dataset.label}: time is up` : '';
      }
      if (state === 'over' && rung !== 'rung') {
        kept.set(timer.dataset.timer, `${end}|rung`);
        tone();
        if (navigator.vibrate) navigator.vibrate([300, 150, 300]);
      }
    });
  }
  function start(timer) {
    sound = sound || new AudioContext();  // a browser lets a page be heard only once it was touched
    sound.resume?.();
    kept.set(timer.dataset.timer, timer.dataset.state === 'running' ? '' : `${Date.now() + 1000 * timer.dataset.seconds}|`);
    timers();
  }
  setInterval(() => { timers(); card(); }, 250);

  document.addEventListener('click', e => {
    const key = e.target.closest?.('.fn-keys button'), timer = e.target.closest?.('.fn-timer button');
    if (key) press(key);
    else if (timer) start(timer.parentElement);
    else if (e.target.closest?.('.st-key-card button')) leave();
  }, true);

  // ---- what a technical word means, or how a part of the circuit stands: in a box above the bar ----------------------
  // until it is closed, Escape or a press elsewhere
  let asked = null;
  function made(what, words, more) {
    const e = Object.assign(document.createElement(what), more);
    e.textContent = words;
    return e;
  }
  function meaning() {
    const found = document.querySelector('.fn-meaning') || made('div', '', {className: 'fn-meaning', tabIndex: -1});
    found.setAttribute('role', 'dialog');
    found.setAttribute('aria-modal', 'false');
    if (!found.isConnected) document.body.append(found);
    return found;
  }
  function aboutPart({title, causes, tests}) {
    const list = made('ul', '');
    list.append(...causes.map(words => made('li', words)));
    const buttons = tests.map(([test, label, takes]) => {
      const button = made('button', `${label} · ${takes}`, {type: 'button', className: 'test'});
      button.dataset.test = test;
      return button;
    });
    return [made('b', title), list,
      made('p', tests.length ? 'Tests that tell most about it, for their time:' : 'No test that can be done now tells about it.'),
      ...buttons];
  }
  function explain(button) {
    const shown = meaning(), {word, means, part} = button.dataset, again = asked === button && !shown.hidden;
    unexplain(false);
    if (again) return;
    asked = button;
    asked.classList.add('asked');
    shown.replaceChildren(...(part ? aboutPart(JSON.parse(part)) : [made('b', word), made('p', means)]),
      made('button', 'Close', {type: 'button'}));
    shown.setAttribute('aria-label', shown.querySelector('b').textContent);
    shown.hidden = false;
    shown.scrollTop = 0;
    shown.focus({preventScroll: true});
  }
  function unexplain(back) {
    const shown = document.querySelector('.fn-meaning');
    if (!shown || shown.hidden) return;
    shown.hidden = true;
    asked?.classList.remove('asked');
    if (back && asked?.isConnected) asked.focus({preventScroll: true});
  }
  function ofPart(test) {  // the server's field takes it as typed and entered; the number tells one press from the next
    const input = field('part_test');
    if (!input) return;
    type(input, `${test} ${Date.now()}`);
    input.dispatchEvent(new KeyboardEvent('keydown', {key: 'Enter', code: 'Enter', keyCode: 13, bubbles: true}));
  }
  // parts stand close together on a small screen: a finger means the one whose middle is nearest
  function nearest(part, e) {
    if (!e.detail) return part;
    const far = p => { const b = p.getBoundingClientRect();
      return Math.hypot((b.left + b.right) / 2 - e.clientX, (b.top + b.bottom) / 2 - e.clientY); };
    return all('.fn-part', part.parentElement).reduce((a, b) => far(b) < far(a) ? b : a);
  }
  document.addEventListener('keydown', e => { if (e.key === 'Escape') unexplain(true); });
  document.addEventListener('click', e => {
    const word = e.target.closest?.('.fn-word'), part = e.target.closest?.('.fn-part');
    const pressed = e.target.closest?.('.fn-meaning button');
    if (word) explain(word);
    else if (part) explain(nearest(part, e));
    else if (pressed) {
      unexplain(!pressed.dataset.test);
      if (pressed.dataset.test) ofPart(pressed.dataset.test);
    } else if (!e.target.closest?.('.fn-meaning')) unexplain(false);
  });

  // ---- what the server's own widgets lack -----------------------------------------------------------------------------
  function mend() {
    // the place to drop files on says that it is decoration and yet takes the focus; screen readers stumble over that
    all('[data-testid=stFileUploaderDropzone][role=presentation]').forEach(e => e.removeAttribute('role'));
    // a telephone then offers its camera as well as its pictures
    all('[class*=st-key-photo_file] input[type=file]').forEach(e => { if (e.accept !== 'image/*') e.accept = 'image/*'; });
    all('.fn-figures').flatMap(e => e.dataset.figures.split(' ')).filter(Boolean).map(field).forEach(figure);
    all('.fn-keys').map(e => field(e.dataset.field)).forEach(figure);
  }
  function figure(input) {
    if (!input || input.inputMode === 'decimal') return;
    input.setAttribute('inputmode', 'decimal');
    input.setAttribute('enterkeyhint', 'done');
  }
  function look() { mend(); card(); timers(); told(); }

  // ---- what the server asks for: said in attributes of elements, each time anew where they change ----------------------
  const heard = new WeakMap();
  function anew(what, does) {
    all(what).forEach(e => {
      const now = JSON.stringify(e.dataset);
      if (heard.get(e) !== now) { heard.set(e, now); does(e.dataset); }
    });
  }
  function told() {
    anew('.fn-show', data => data.show && show(data.show));
    anew('.fn-to', data => to(data.to));
    anew('.fn-turn', data => turn(data.turn, data.chosen === 'True'));
    anew('.fn-browser', data => {
      document.cookie = `${data.name}=${data.value};path=/;max-age=31536000;SameSite=Strict`;
    });
  }

  function show(name, tries = 40) {
    const input = field(name), wrong = document.getElementById('wrong-' + name);
    if (!input || !wrong) { if (tries) setTimeout(show, 50, name, tries - 1); return; }
    const more = input.closest('details');
    if (more && !more.open) more.querySelector('summary').click();
    const place = document.querySelector(`.st-key-${CSS.escape(name)}`);
    place.scrollIntoView({block: 'center'});
    input.focus({preventScroll: true});
  }

  // Another test on the card: its head has to be seen, above the bar and near the top; the top of the page where that does.
  // Drawing may take a while: whoever goes on by hand meanwhile is not moved (an open list would close, too).
  let turned = null, touched = 0;
  for (const kind of ['pointerdown', 'keydown', 'wheel', 'touchmove'])
    document.addEventListener(kind, () => { touched = performance.now(); }, {capture: true, passive: true});
  function turn(now, chosen, tries = 100, since = performance.now()) {
    const input = field('entry'), head = document.querySelector('.st-key-card .fn-test h2');
    const main = document.querySelector('[data-testid=stMain]');
    if (!input || !head || !main) { if (tries) setTimeout(turn, 50, now, chosen, tries - 1, since); return; }
    // a choice brings another test with nothing entered in between
    const again = turned !== null && turned !== now && turned.split(' ')[0] === now.split(' ')[0];
    turned = now;
    if (touched > since) return;
    main.scrollTo(0, 0);
    const floor = document.querySelector('.st-key-links')?.getBoundingClientRect().top || innerHeight;
    if (again && head.getBoundingClientRect().bottom > (chosen ? floor / 2 : floor))
      document.querySelector('.st-key-card').scrollIntoView({block: 'start'});
    const nowhere = document.activeElement === document.body || document.activeElement === null;
    if (nowhere && !matchMedia('(pointer: coarse)').matches) input.focus({preventScroll: true});
  }

  function to(name, tries = 40) {
    const place = document.getElementById(name);
    if (place) [0, 300, 900].forEach(after => setTimeout(() => place.isConnected && place.scrollIntoView({block: 'start'}), after));
    else if (tries) setTimeout(to, 50, name, tries - 1);
  }

  window.fnPage = {look, show, to, turn, rung: 0};
  new MutationObserver(look).observe(document.body, {childList: true, subtree: true, attributes: true,
    attributeFilter: ['data-draft', 'data-figures', 'data-begun', 'data-show', 'data-to', 'data-count', 'data-turn', 'data-chosen', 'value']});
  look();
})();
