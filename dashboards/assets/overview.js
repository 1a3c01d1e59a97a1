// Search, filter, order and deep links over the entries that are already on the page.
'use strict';
(() => {
  const list = document.querySelector('.entries');
  const rows = [...list.querySelectorAll('.entry[data-v]')];
  const form = document.querySelector('form[role=search]');
  const words = [...form.querySelectorAll('[data-verdict]')];
  const clear = form.querySelector('.clear');
  const count = document.querySelector('.count');
  const more = document.querySelector('.more button'), onPaper = document.querySelector('.left-out');
  const first = Number(list.dataset.first);
  const called = JSON.parse(list.dataset.called);  // what people call that which happened, said once for all rows
  const DAY = 86400000, PORTION = 200, PAUSE = 300;
  let shownMost = first;

  // What is asked of a row, read from the page once: a key pressed must not wait for it.
  const facts = rows.map((row, n) => ({
    row, n, v: row.dataset.v, m: row.dataset.m, k: row.dataset.k, days: ` ${row.dataset.d} `,
    text: `${row.querySelector('.aside').textContent} ${row.querySelector('.body').textContent} ${(row.dataset.w ?? '').split(' ').map(key => called[key] ?? '').join(' ')} ${row.dataset.t ?? ''}`.toLowerCase(),
  }));

  const iso = day => new Date(day * DAY).toISOString().slice(0, 10);
  const said = day => new Date(day * DAY).toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' });

  function state() {
    return {
      q: form.q.value.trim().toLowerCase(),
      words: form.q.value.toLowerCase().split(/\s+/).filter(Boolean),
      verdicts: words.filter(b => b.getAttribute('aria-pressed') === 'true').map(b => b.dataset.verdict),
      measurand: form.measurand.value,
      known: form.known.value,
      day: form.day.value ? Date.parse(form.day.value + 'T00:00:00Z') / DAY : null,
      sort: form.sort.value,
    };
  }

  const fits = (f, s) => (!s.verdicts.length || s.verdicts.includes(f.v))
    && (!s.measurand || f.m === s.measurand)
    && (!s.known || f.k === s.known)
    && (s.day === null || f.days.includes(` ${s.day} `))
    && s.words.every(word => f.text.includes(word));

  const orders = {
    '': (a, b) => a.n - b.n,
    name: (a, b) => a.row.dataset.n.localeCompare(b.row.dataset.n, 'en', { numeric: true }),
    since: (a, b) => Number(b.row.dataset.s) - Number(a.row.dataset.s),
    measurand: (a, b) => a.m.localeCompare(b.m, 'en'),
  };
  let order = '', sorted = facts;

  function sortRows(key) {
    if (key === order) return;
    order = key;
    sorted = [...facts].sort((a, b) => (orders[key] || orders[''])(a, b) || a.n - b.n);
  }

  // Only rows that are shown stand in the page: the browser walks over all that stand there at every change.
  function place(wanted) {
    const keep = new Set(wanted);
    for (const row of [...list.children]) if (!keep.has(row)) row.remove();
    let here = list.firstElementChild;
    for (const row of wanted) row === here ? here = here.nextElementSibling : list.insertBefore(row, here);
  }

  // The rows that fit, so many of them that a person reads on without asking.
  function show() {
    const s = state();
    sortRows(s.sort);
    const matching = sorted.filter(f => fits(f, s));
    if (rows.length) place(matching.slice(0, shownMost).map(f => f.row));
    const filtered = s.words.length || s.verdicts.length || s.measurand || s.known || s.day !== null;
    count.textContent = !rows.length ? '' : !matching.length
      ? 'No point fits. Show all, or look for another word.'
      : filtered ? `${matching.length} of ${rows.length} points${s.day !== null ? ', event on ' + said(s.day) : ''}` : '';
    clear.hidden = !filtered;
    const left = matching.length - Math.min(shownMost, matching.length);
    more.hidden = left === 0;
    onPaper.textContent = left ? `${Book.thousands(left)} more points fit; they are on the screen and in tables/points.csv.` : '';
    more.textContent = left > PORTION ? `Show ${PORTION} more of the other ${Book.thousands(left)}` : `Show the other ${left}`;
  }

  // The frame of a key draws the first rows, the next one the others (class `quick` of the style sheet); the address
  // follows when no key has.
  let resting = 0, address = null;
  function soon(settled) {
    address = settled;
    list.classList.add('quick');
    list.setAttribute('aria-busy', 'true');
    show();
    clearTimeout(resting);
    resting = setTimeout(settle, PAUSE);
    requestAnimationFrame(() => setTimeout(whole));
  }

  function whole() {
    list.classList.remove('quick');
    list.removeAttribute('aria-busy');
  }

  // Paper takes what the list holds once it has come to rest.
  function settle() {
    clearTimeout(resting);
    whole();
    address?.();
    address = null;
  }

  function remember() {
    const s = state(), q = new URLSearchParams();
    if (s.q) q.set('q', form.q.value.trim());
    if (s.verdicts.length) q.set('verdict', s.verdicts.join(','));
    if (s.measurand) q.set('measurand', s.measurand);
    if (s.known) q.set('known', s.known);
    if (s.day !== null) q.set('day', s.day);
    if (s.sort) q.set('sort', s.sort);
    const hash = q.toString();
    shownMost = first;
    soon(() => history.replaceState(null, '', hash ? '#' + hash : location.pathname + location.search));
  }

  // Rows above take their true height only when they come near: look again until the row stays where it was brought.
  function bring(row, tries = 8) {
    row.scrollIntoView({ behavior: 'instant' });
    const top = row.getBoundingClientRect().top;
    requestAnimationFrame(() => setTimeout(() => {
      if (tries && Math.abs(row.getBoundingClientRect().top - top) > 1) bring(row, tries - 1);
    }));
  }

  function recall() {
    clearTimeout(resting);
    address = null;
    whole();
    const id = location.hash.slice(1), named = !id.includes('=') && decodeURIComponent(id);
    const row = named && rows.find(r => r.id === named);
    if (row) {
      shownMost = Math.max(first, rows.indexOf(row) + 1);
      show();
      bring(row);
      return;
    }
    if (named && document.getElementById(named)) { show(); return; }
    const q = Book.query();
    form.q.value = q.get('q') || '';
    const asked = (q.get('verdict') || '').split(',');
    for (const b of words) b.setAttribute('aria-pressed', String(asked.includes(b.dataset.verdict)));
    form.measurand.value = q.get('measurand') || '';
    form.known.value = q.get('known') || '';
    form.day.value = /^\d+$/.test(q.get('day') || '') ? iso(Number(q.get('day'))) : '';
    form.sort.value = q.get('sort') || '';
    shownMost = first;
    show();
    if (q.has('day')) document.getElementById('points').scrollIntoView();
  }

  form.addEventListener('submit', e => e.preventDefault());
  form.addEventListener('input', remember);
  for (const b of words) b.addEventListener('click', () => {
    b.setAttribute('aria-pressed', String(b.getAttribute('aria-pressed') !== 'true'));
    remember();
  });
  clear.addEventListener('click', () => {
    form.reset();
    for (const b of words) b.setAttribute('aria-pressed', 'false');
    remember();
    form.q.focus();
  });
  more.addEventListener('click', () => { shownMost += PORTION; show(); });
  addEventListener('hashchange', recall);
  addEventListener('beforeprint', settle);
  const calendar = document.querySelector('.calendar'), bars = [...document.querySelectorAll('rect[data-day]')];
  let bar = -1;
  const told = target => target.textContent;
  function chooseBar(n) {
    bars[bar]?.classList.remove('chosen');
    bar = Math.min(Math.max(n, 0), bars.length - 1);
    bars[bar].classList.add('chosen');
    document.querySelector('.cal-said').textContent = told(bars[bar]);
  }
  const openBar = n => { location.hash = 'day=' + bars[n].dataset.day; };
  bars.forEach((target, n) => target.addEventListener('click', () => { chooseBar(n); openBar(n); }));
  // Days are one stop of the keyboard: arrows go along those on which something happened.
  if (bars.length) calendar.addEventListener('keydown', e => {
    const wanted = { ArrowLeft: bar < 0 ? bars.length - 1 : bar - 1, ArrowRight: bar + 1, Home: 0, End: bars.length - 1 }[e.key];
    if (wanted !== undefined) { e.preventDefault(); chooseBar(wanted); }
    if ((e.key === 'Enter' || e.key === ' ') && bar >= 0) { e.preventDefault(); openBar(bar); }
  });

  // ---- the calendar as data and as one drawing ------------------------------------------------------
  function calendarRows() {
    const lines = ['day,what,events'];
    for (const rect of document.querySelectorAll('rect[data-day]')) {
      for (const part of rect.textContent.split(': ').slice(1).join(': ').split(', ')) {
        const found = part.match(/^(.*) (\d+)$/);
        if (found) lines.push([iso(Number(rect.dataset.day)), found[1], found[2]].map(Book.cell).join(','));
      }
    }
    return lines.join('\n') + '\n';
  }

  function calendarDrawing() {
    const svg = document.createElementNS(document.querySelector('svg').namespaceURI, 'svg'), names = [...document.querySelectorAll('.cal-words')], strokes = [...document.querySelectorAll('.cal-strokes')];
    const put = (tag, facts, text) => {
      const node = document.createElementNS(svg.namespaceURI, tag);
      for (const [key, value] of Object.entries(facts)) node.setAttribute(key, value);
      if (text) node.textContent = text;
      svg.append(node);
      return node;
    };
    svg.setAttribute('viewBox', `0 0 1200 ${names.length * 40 + 40}`);
    names.forEach((name, n) => {
      const path = strokes[n].querySelector('path'), days = strokes[n].viewBox.baseVal.width;
      put('text', { x: 8, y: n * 40 + 32 }, name.textContent);
      put('path', { d: path.getAttribute('d'), class: path.getAttribute('class'), style: path.getAttribute('style'), transform: `translate(190 ${n * 40 + 6}) scale(${1000 / days} 1)` });
    });
    for (const month of document.querySelectorAll('.cal-months span')) put('text', { x: 190 + parseFloat(month.style.left) * 10, y: names.length * 40 + 26 }, month.textContent);
    svg.style.cssText = 'position: absolute; left: -9999px; width: 1200px';
    document.body.append(svg);
    Book.drawing(svg, 'days');
    svg.remove();
  }
  for (const b of document.querySelectorAll('[data-calendar]')) b.addEventListener('click', () => {
    if (b.dataset.calendar === 'rows') Book.save('days.csv', 'text/csv', calendarRows());
    else calendarDrawing();
  });

  recall();
})();
