// Pages of probes: find a probe, draw its life and single exposures.  No request is ever made.
'use strict';
(() => {
  const narrow = () => innerWidth < 640;

  // ---- list of all probes -----------------------------------------------------------------------------
  const form = document.querySelector('#probes .finder');
  if (form) {
    const rows = [...document.querySelector('.all-probes').tBodies[0].rows];
    const count = form.querySelector('.count'), none = document.querySelector('.no-match');
    const show = () => {
      const words = form.q.value.trim().toLowerCase().split(/\s+/);
      let shown = 0;
      for (const row of rows) shown += !(row.hidden = !words.every(w => row.textContent.toLowerCase().includes(w)));
      count.textContent = `${shown} of ${rows.length} probes`;
      none.hidden = shown > 0;
    };
    form.addEventListener('input', show);
    form.addEventListener('submit', e => e.preventDefault());
    show();
  }
  document.querySelector('[data-print]')?.addEventListener('click', () => print());

  // ---- the life ---------------------------------------------------------------------------------------
  const source = document.getElementById('life-figure');
  if (!source) return;
  const spec = Book.figure('life-figure'), full = [...spec.layout.xaxis.range];
  const plot = document.getElementById('lifeplot');
  const name = document.querySelector('h1').firstChild.textContent.trim();

  function draw() {
    const painted = Book.paint(spec, Book.inks());
    if (narrow()) {
      painted.layout.margin = { ...painted.layout.margin, l: 62, r: 6 };
      painted.layout.annotations = painted.layout.annotations.map(a => ({ ...a, align: 'left', text: a.text.length > 46 ? a.text.replace('; ', '<br>') : a.text }));
    }
    Plotly.react(plot, painted.data, painted.layout, { displayModeBar: false, responsive: true, doubleClick: 'reset', showTips: false });
  }
  document.querySelector('.drawn').classList.add('paper-only');
  document.querySelector('.plot-wrap').hidden = false;
  draw();
  Book.onTheme(draw);
  const heights = Object.keys(spec.layout).filter(k => /^yaxis/.test(k)).map(k => spec.layout[k].range ? [k + '.range', [...spec.layout[k].range]] : [k + '.autorange', true]);
  const all = () => Plotly.relayout(plot, { 'xaxis.range': [...full], ...Object.fromEntries(heights) });
  document.querySelector('[data-all]').addEventListener('click', all);
  plot.addEventListener('keydown', e => {
    if (e.key === 'Escape') return all();
    if (['ArrowLeft', 'ArrowRight', 'Home', 'End'].includes(e.key)) { e.preventDefault(); return step(e.key, e.shiftKey); }
    const [a, b] = plot.layout.xaxis.range.map(t => Date.parse(String(t).replace(' ', 'T') + 'Z')), span = b - a, mid = (a + b) / 2;
    const move = { PageUp: [-0.6, 1], PageDown: [0.6, 1], '+': [0, 0.5], '=': [0, 0.5], '-': [0, 2] }[e.key];
    if (!move) return;
    e.preventDefault();
    const stamp = ms => new Date(ms).toISOString().replace('T', ' ').slice(0, 19);
    Plotly.relayout(plot, { 'xaxis.range': [stamp(mid + move[0] * span - span * move[1] / 2), stamp(mid + move[0] * span + span * move[1] / 2)] });
  });

  // ---- the reading line: what is drawn at a moment, in words -------------------------------------------
  const ms = text => Date.parse(String(text).length > 10 ? String(text).replace(' ', 'T') + 'Z' : text + 'T12:00Z');
  const title = trace => Book.plainText(spec.layout.annotations[Number(trace.yaxis.slice(1)) - 1].text.split(';')[0]);
  const suffix = trace => Book.plainText(spec.layout['yaxis' + trace.yaxis.slice(1)]?.ticksuffix ?? '');
  function told(trace, i) {
    if (trace.name === 'exposure') return Book.plainText(trace.text[i]).replace(/\.$/, '');
    if (trace.name === 'calibration') return Book.plainText(trace.text[i]);
    const of = /^as (found|left)$/.test(trace.name) ? `${title(trace)} ${trace.name} ` : `${trace.name} `;
    return of + (trace.text ? Book.plainText(trace.text[i]) : String(trace.y[i]).replace('-', '−') + suffix(trace));
  }
  const line = document.querySelector('.note'), cursor = document.querySelector('.cursor');
  let at = null;
  function place() {
    const size = plot._fullLayout?._size, [a, b] = (plot.layout?.xaxis.range ?? full).map(ms);
    cursor.hidden = at === null || !size || at < a || at > b;
    if (cursor.hidden) return;
    cursor.style.left = size.l + (at - a) / (b - a) * size.w + 'px';
    cursor.style.top = size.t + 'px';
    cursor.style.height = size.h + 'px';
  }
  function say(moment) {
    at = ms(moment);
    const here = rows.filter(row => row[0] === moment).map(row => row[4]);
    const p = document.createElement('p'), b = document.createElement('b');
    b.textContent = new Date(at).toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' }) + (moment.length > 10 ? ', ' + moment.slice(11) : '') + ': ';
    p.append(b, here.join('; ') + '.');
    line.replaceChildren(p);
    place();
  }
  // The next of the moments in view at which something is drawn; a key with shift goes a tenth of them.
  function step(key, far) {
    const [a, b] = plot.layout.xaxis.range.map(ms);
    const moments = [...new Set(rows.map(row => row[0]))].filter(m => ms(m) >= a && ms(m) <= b).sort((m, n) => ms(m) - ms(n)), last = moments.length - 1;
    if (last < 0) return;
    const jump = far ? Math.ceil(moments.length / 10) : 1;
    const before = moments.filter(m => at !== null && ms(m) < at).length, until = moments.filter(m => at !== null && ms(m) <= at).length;
    const wanted = { ArrowLeft: at === null ? last : before - jump, ArrowRight: until + jump - 1, Home: 0, End: last }[key];
    say(moments[Math.min(Math.max(wanted, 0), last)]);
  }
  plot.on('plotly_hover', e => { const p = e.points[0], m = p?.x && when(p.x).slice(0, daily(p.data) ? 10 : 16); if (m && rows.some(row => row[0] === m)) say(m); });
  plot.on('plotly_afterplot', place);
  addEventListener('resize', () => requestAnimationFrame(place));

  // ---- as data and as picture -------------------------------------------------------------------------
  const daily = trace => ['highest of the day', 'dose so far'].includes(trace.name);  // of a day, not of a minute
  const when = x => typeof x === 'number' ? new Date(x).toISOString().replace('T', ' ').slice(0, 16) : String(x ?? '').slice(0, 16);
  // The unit stands behind the figures of the trace's axis; a calibration is a moment and has none.
  const unitOf = trace => (spec.layout['yaxis' + (trace.yaxis || 'y').slice(1)]?.ticksuffix || '').trim();
  const rows = [];
  for (const trace of spec.data) {
    for (let i = 0; i < trace.x.length; i++) {
      const value = trace.y[i];
      if (trace.x[i] === null || value === null || Number.isNaN(value) || trace.line?.width === 14) continue;
      const said = trace.name === 'calibration' ? trace.text[i] : String(value);
      rows.push([when(trace.x[i]).slice(0, daily(trace) ? 10 : 16), Book.plainText(trace.name) + (/^as (found|left)$/.test(trace.name) ? ', ' + title(trace) : ''), said, unitOf(trace), told(trace, i)]);
    }
  }
  rows.sort((a, b) => a[0] < b[0] ? -1 : a[0] > b[0] ? 1 : 0);
  const written = rows.map(row => row.slice(0, 4));
  const holder = document.querySelector('details.data');
  const header = [`time (${holder.dataset.zone})`, 'what', 'value', 'unit'];
  const stem = name.replace(/[^\w-]+/g, '_') || 'probe';
  document.querySelector('[data-csv]').addEventListener('click', () => Book.save(`${stem}.csv`, 'text/csv', [header, ...written].map(r => r.map(Book.cell).join(',')).join('\n') + '\n'));
  for (const b of document.querySelectorAll('[data-picture]')) b.addEventListener('click', () => Book.picture(plot, stem, b.dataset.picture));
  holder.addEventListener('toggle', () => {
    const room = holder.querySelector('.data-table');
    if (!holder.open || room.firstChild) return;
    const table = document.createElement('table'), most = 2000;
    const row = (cells, tag) => { const tr = document.createElement('tr'); for (const text of cells) { const c = document.createElement(tag); c.textContent = text; if (tag === 'th') c.scope = 'col'; tr.append(c); } return tr; };
    table.createTHead().append(row(header, 'th'));
    const body = table.createTBody();
    for (const cells of written.slice(0, most)) body.append(row(cells, 'td'));
    table.createCaption().textContent = rows.length > most ? `The first ${most} of ${rows.length} rows; all are in the CSV.` : `${rows.length} rows.`;
    Book.sortable(table);
    room.append(table);
  });

  // ---- single exposures -------------------------------------------------------------------------------
  const chosen = location.hash.match(/^#close-(\w+)$/);
  if (chosen) document.querySelector(`[data-figure="fig-${chosen[1]}"]`)?.setAttribute('open', '');
})();
