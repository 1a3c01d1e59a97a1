// One point's record: draw it, move a reading line over it, say in words what stood there, land on events.
'use strict';
(() => {
  const source = document.getElementById('figure');
  const table = document.querySelector('table.events');
  const DAY = 86400000;
  const WORDS = 140, LEAST_HEIGHT = 0.75;  // pixels of the words below the record; how much lower than designed it is still legible
  const pad = n => String(n).padStart(2, '0');
  const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
  const DAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];

  // Wall-clock milliseconds are read as if they were UTC: the zone was applied when the page was made.
  function said(ms, seconds) {
    const d = new Date(ms);
    return `${DAYS[d.getUTCDay()]} ${d.getUTCDate()} ${MONTHS[d.getUTCMonth()]} ${d.getUTCFullYear()}, ${pad(d.getUTCHours())}:${pad(d.getUTCMinutes())}${seconds ? ':' + pad(d.getUTCSeconds()) : ''}`;
  }
  // Hour and minute, with the day where it is another than that of the line.
  const clockOf = (ms, line) => Math.floor(ms / DAY) === Math.floor(line / DAY) ? said(ms).split(', ')[1] : said(ms).replace(/^\w+ /, '').replace(/ \d{4},/, ',');
  const stamp = ms => new Date(ms).toISOString().replace('T', ' ').slice(0, 23);
  const parsed = text => typeof text === 'number' ? text : Date.parse(String(text).replace(' ', 'T') + (/Z|T$/.test(text) ? '' : String(text).length <= 10 ? 'T00:00:00Z' : 'Z'));

  // ---- table of events: filter, order, choose --------------------------------------------------
  const Events = (() => {
    if (!table) return { select() {}, reveal() {} };
    const body = table.tBodies[0], rows = [...body.rows];
    const form = document.querySelector('#events .finder');
    const which = [...form.querySelectorAll('[data-which]')];
    const count = form.querySelector('.count'), none = document.querySelector('.no-match');
    const serious = rows.filter(r => r.classList.contains('serious')).length;
    let asked = serious ? 'serious' : 'all';
    which[0].disabled = !serious;

    function show() {
      const words = form.q.value.trim().toLowerCase().split(/\s+/);
      let shown = 0;
      for (const row of rows) {
        row.hidden = !((asked === 'all' || row.classList.contains('serious')) && words.every(w => row.textContent.toLowerCase().includes(w)));
        shown += !row.hidden;
      }
      for (const b of which) b.setAttribute('aria-pressed', String(b.dataset.which === asked));
      count.textContent = `${shown} of ${rows.length} events`;
      none.hidden = shown > 0;
    }
    for (const b of which) b.addEventListener('click', () => { asked = b.dataset.which; show(); });
    form.addEventListener('input', show);
    form.addEventListener('submit', e => e.preventDefault());
    body.addEventListener('click', e => {
      if (e.target.closest('a') || String(getSelection())) return;
      const row = e.target.closest('tr');
      if (row) location.hash = row.id;
    });
    function select(id) {
      for (const row of rows) row.removeAttribute('aria-current');
      const row = document.getElementById('ev-' + id);
      if (!row) return;
      row.setAttribute('aria-current', 'true');
      if (row.hidden) { asked = 'all'; form.q.value = ''; show(); }
    }
    show();
    return { select };
  })();
  document.querySelector('[data-began=picture]')?.addEventListener('click', () => Book.drawing(document.querySelector('.moment svg'), 'when-it-began'));
  document.querySelector('[data-print]')?.addEventListener('click', () => print());
  if (!source) {
    const chosen = location.hash.match(/^#ev-(\w+)/);
    if (chosen) Events.select(chosen[1]);
    return;
  }

  // ---- the record -------------------------------------------------------------------------------
  const facts = JSON.parse(document.getElementById('facts').textContent);
  const spec = Book.figure('figure');
  // Where the clock was put back an hour comes twice: [wall before, wall after, offset since then] of each change.
  const turns = facts.clock.turns, back = turns.filter(t => t[1] < t[0]);
  const twice = ms => back.find(t => ms >= t[1] && ms < t[0]);
  const isBreak = (trace, i) => Number.isNaN(trace.y[i]) && back.some(t => t[0] === trace.x[i]);
  // A line does not go back with the clock: it ends with the first pass and begins anew with the second.
  for (const trace of spec.data) {
    if (!trace.x || !trace.y || !['value', 'temperature', 'noise', 'corrected', 'beside', 'related'].includes(trace.meta)) continue;
    for (const [before, after] of back) {
      let i = 1;
      while (i < trace.x.length && !(trace.x[i - 1] >= after && trace.x[i - 1] < before && trace.x[i] <= trace.x[i - 1])) i++;
      if (i >= trace.x.length) continue;
      trace.x = Float64Array.from([...trace.x.slice(0, i), before, ...trace.x.slice(i)]);
      trace.y = Float64Array.from([...trace.y.slice(0, i), NaN, ...trace.y.slice(i)], v => v ?? NaN);
    }
  }
  // How far the clock was ahead of UTC at a sample; of an hour that came twice both, where the record holds one pass of it only.
  function offsetAt(trace, i) {
    let offset = facts.clock.offset;
    for (const [before, after, since] of turns) {
      const ms = trace.x[i];
      if (ms >= Math.max(before, after)) { offset = since; continue; }
      if (ms < after) break;
      let turned = -1;
      for (let k = lower(trace.x, after); k < trace.x.length && trace.x[k] <= before; k++) if (k && trace.x[k] < trace.x[k - 1] && trace.x[k] >= after) turned = k;
      return turned < 0 ? `${offset} or ${since}` : i < turned ? offset : since;
    }
    return offset;
  }
  const stateStart = Book.unpack(facts.states.start);
  const plot = document.getElementById('plot'), wrap = document.querySelector('.plot-wrap');
  const note = document.querySelector('.note'), cursor = document.querySelector('.cursor');
  // The words under the pointer stay in sight while the record fills the window; before that they would cover it.
  new IntersectionObserver(seen => note.classList.toggle('near', seen[0].isIntersecting), { rootMargin: '0px 0px -50% 0px' }).observe(wrap);
  const shown = document.querySelector('.shown'), drawnWords = document.querySelector('.drawn-words');
  const full = spec.layout.xaxis.range.map(parsed);
  const panels = spec.data.filter(t => ['value', 'temperature', 'noise'].includes(t.meta));
  const scaleButton = document.querySelector('[data-scale]');
  const narrow = () => innerWidth < 640;
  let view = [...full], chosen = null, at = null, pinned = false, picking = false, wholeScale = false, cut = false, apart = false, telling = 0;

  const axisName = key => 'yaxis' + key.slice(1);

  // Lowest and highest of what is in view, so that a closer look uses the whole height.  Over more than a few
  // days the usual scale holds: what goes beyond it (cleanings, calibrations) is cut off at the edge, and said.
  function heights() {
    const ranges = {}, wide = view[1] - view[0] > 5 * DAY && !wholeScale;
    cut = apart = false;
    for (const trace of spec.data) {
      if (!trace.x || !trace.y || /[:]|^(calibration|swap)$/.test(trace.meta || '')) continue;
      if (trace.meta === 'band' && wide) continue;  // over months a wide band may run off, no reading may; close by it is the answer
      const neighbour = trace.meta === 'beside', usual = wide ? facts.scale[trace.meta === 'corrected' ? 'value' : trace.meta] : null;
      const ends = ranges[trace.yaxis] || (ranges[trace.yaxis] = { in: [Infinity, -Infinity], beside: [Infinity, -Infinity], all: [Infinity, -Infinity] });
      for (let i = lower(trace.x, view[0]); i < trace.x.length && trace.x[i] <= view[1]; i++) {
        const v = trace.y[i];
        const held = neighbour ? ends.beside : ends.all;
        if (v < held[0]) held[0] = v;
        if (v > held[1]) held[1] = v;
        if (neighbour || (usual && (v < usual[0] || v > usual[1]))) continue;
        if (v < ends.in[0]) ends.in[0] = v;
        if (v > ends.in[1]) ends.in[1] = v;
      }
    }
    const changes = {};
    for (const [key, ends] of Object.entries(ranges)) {
      // A neighbour on another level must not make a flat line of the reading: it is on the scale where it leaves it a quarter.
      const both = [Math.min(ends.in[0], ends.beside[0]), Math.max(ends.in[1], ends.beside[1])];
      if (ends.in[0] > ends.in[1] || both[1] - both[0] <= 4 * (ends.in[1] - ends.in[0])) ends.in = both;
      else apart = true;
      const [low, high] = ends.in[0] <= ends.in[1] ? ends.in : ends.all;
      if (low > high) continue;
      if (ends.all[0] < low || ends.all[1] > high) cut = true;
      const air = (high - low) * 0.07 || Math.abs(high) * 0.02 || 0.5;
      changes[axisName(key) + '.range'] = [low - air, high + air];
    }
    return changes;
  }

  function lower(array, value) {
    let lo = 0, hi = array.length;
    while (lo < hi) { const mid = (lo + hi) >> 1; array[mid] < value ? lo = mid + 1 : hi = mid; }
    return lo;
  }

  function nearest(trace, ms) {
    const i = lower(trace.x, ms);
    let j = i > 0 && (i === trace.x.length || ms - trace.x[i - 1] < trace.x[i] - ms) ? i - 1 : i;
    while (j > 0 && j < trace.x.length && isBreak(trace, j)) j--;
    return j < trace.x.length ? j : -1;
  }

  function marks() {
    if (!chosen) return [];
    if (chosen[1] === chosen[2]) return [{ type: 'line', x0: stamp(chosen[1]), x1: stamp(chosen[1]), y0: 0, y1: 1, yref: 'paper', line: { color: '@ink', width: 1.5, dash: '3px,3px' } }];
    return [{ type: 'rect', x0: stamp(chosen[1]), x1: stamp(Math.max(chosen[2], chosen[1] + 1)), y0: 0, y1: 1, yref: 'paper', line: { color: '@ink', width: 1.5, dash: '3px,3px' }, fillcolor: 'rgba(0,0,0,0)' }];
  }

  function draw() {
    const painted = Book.paint(spec, Book.inks());
    const layout = painted.layout;
    layout.hovermode = false;
    layout.dragmode = matchMedia('(pointer: coarse)').matches ? false : 'zoom';
    layout.xaxis.showspikes = false;
    layout.xaxis.range = view.map(stamp);
    if (narrow()) {
      layout.margin = { ...layout.margin, l: 98, r: 4 };
      layout.xaxis.nticks = 4;
      for (const key of Object.keys(layout)) if (key.startsWith('yaxis')) layout[key].tickfont.size = 11;
    }
    for (const [path, range] of Object.entries(heights())) layout[path.split('.')[0]].range = range;
    // The words below stay in sight: where the window is a little too low for both, the record is drawn a little lower.
    if (!narrow()) layout.height = Math.min(layout.height, Math.max(innerHeight - WORDS, LEAST_HEIGHT * layout.height));
    layout.shapes = layout.shapes.concat(Book.paint(marks(), Book.inks()));
    return Plotly.react(plot, painted.data, layout, { displayModeBar: false, responsive: true, doubleClick: false, showTips: false });
  }

  function go(from, to) {
    const least = 60000, length = Math.min(Math.max(to - from, least), full[1] - full[0]);
    const start = Math.min(Math.max(from, full[0]), full[1] - length);
    view = [start, start + length];
    const base = spec.layout.shapes.concat(marks());
    Plotly.relayout(plot, { 'xaxis.range': view.map(stamp), ...heights(), shapes: Book.paint(base, Book.inks()) });
    tell();
  }

  function tell() {
    const whole = view[0] <= full[0] && view[1] >= full[1];
    shown.textContent = (whole ? 'Shown: the whole record' : `Shown: ${said(view[0])} to ${said(view[1])}`) + (chosen ? `. Marked: ${chosen[3]}.` : '.') + (cut ? ' Readings beyond the usual scale are cut off at its edge.' : '') + (apart ? ' What is beside it stands on another level, for the most part beyond this scale.' : '') + turnWords();
    scaleButton.setAttribute('aria-pressed', String(wholeScale));
    for (const b of document.querySelectorAll('[data-days]')) {
      const days = b.dataset.days;
      b.setAttribute('aria-pressed', String(days === 'all' ? whole : !whole && Math.abs((view[1] - view[0]) / DAY - Number(days)) < 1e-6));
      if (days !== 'all') b.disabled = Number(days) * DAY >= full[1] - full[0];
    }
    const main = panels[0];
    if (main) {
      const drawn = lower(main.x, view[1] + 1) - lower(main.x, view[0]);
      const facts1 = facts.drawn[main.meta], expected = facts1.counted && facts1.interval ? (view[1] - view[0]) / 1000 / facts1.interval : null;
      const all = main.x.length >= facts1.samples, nearly = expected && drawn >= expected * 0.9;
      drawnWords.textContent = all ? 'Every sample is drawn.'
        : nearly ? 'In this stretch about every sample is drawn.'
        : `${ofHowMany(drawn, whole, expected, facts1.samples)}: lowest and highest of every part are kept, the samples between them are in your export.`;
      const command = !all && !nearly && closer();
      if (command) {
        const code = document.createElement('code');
        code.className = 'command';
        for (const word of command.split(' ')) {
          const span = document.createElement('span');  // a command breaks between its words, never inside an option
          span.textContent = word;
          code.append(code.firstChild ? ' ' : '', span);
        }
        drawnWords.append(' To draw them all and have the moment explained: ', code);
      }
    }
    if (document.querySelector('details.data').open) listData();
    place();
  }

  // A close look at an hour that comes twice says so.
  function turnWords() {
    const here = view[1] - view[0] <= 5 * DAY && back.find(t => view[0] < t[0] && view[1] > t[1]);
    return here ? ` The clock was put back on ${said(here[1]).split(', ')[0]}: ${said(here[1]).split(', ')[1]} to ${said(here[0]).split(', ')[1]} comes twice, and both passes are drawn over one another.` : '';
  }

  // Of the whole record the number is known; of a stretch it follows from the interval, where there is one.
  function ofHowMany(drawn, whole, expected, samples) {
    if (whole) return `${Book.thousands(drawn)} samples stand for all ${Book.thousands(samples)} of the record`;
    if (!expected) return `${Book.thousands(drawn)} samples are drawn in this stretch, and not every one it holds (the record has ${Book.thousands(samples)})`;
    const least = Math.min(expected, samples), digits = 10 ** Math.max(0, Math.floor(Math.log10(least)) - 1);
    return `${Book.thousands(drawn)} samples stand for about ${Book.thousands(Math.round(least / digits) * digits)} in this stretch`;
  }

  // The command that draws every sample around a moment; not for a name that a shell would take for more than a name.
  function closer() {
    const inView = ms => ms !== null && ms !== undefined && ms >= view[0] && ms <= view[1];
    const moment = [at, facts.began].find(inView) ?? (view[0] + view[1]) / 2;
    return /^[\w .,()+-]+$/.test(facts.name) ? `excursions explain EXPORT --point "${facts.name}" --at "${stamp(moment).slice(0, 16)}" --out DIR` : '';
  }

  // ---- the reading line: what stood at a moment, in words ----------------------------------------
  // As many decimals as the record itself has, or as a band supports, else four significant digits.
  function figureText(value, unit, decimals, significant = 4) {
    const digits = decimals !== undefined ? decimals : Math.max(0, significant - 1 - Math.floor(Math.log10(Math.abs(value) || 1)));
    return `${value.toFixed(Math.min(digits, 6)).replace('-', '−')}\u00a0${unit}`.trim();
  }

  // A spread is known to two digits; no temperature of a probe is worth more than one decimal.
  function reading(trace, value, unit) {
    if (trace.meta === 'noise') return figureText(value, unit, undefined, 2);
    return figureText(value, unit, trace.meta === 'temperature' ? Math.min(trace.decimals ?? 1, 1) : trace.decimals);
  }
  const unitOf = trace => trace.meta === 'temperature' ? facts.temperature_unit : trace.meta === 'related' ? facts.related[trace.name] : facts.unit;

  // A figure to the first digit of its band, to the second from ten on: as the sentences have it.
  function supported(value, band) {
    if (!(band > 0)) return figureText(value, facts.unit);
    const power = Number(band.toExponential(0).split('e')[1]), digits = power < 1 ? -power : 1 - power;
    return figureText(Math.round(value * 10 ** digits) / 10 ** digits, facts.unit, Math.max(0, digits));
  }

  // Error and half width of its band at a moment, straight from one knot to the next.
  function errorAt(doubt, ms) {
    const k = doubt.knots.map(([at, error], i) => [at, error, doubt.band[i] ?? null]).filter(knot => knot[1] !== null);
    if (!k.length) return [null, 0];
    let i = 0;
    while (i < k.length - 2 && k[i + 1][0] < ms) i++;
    const a = k[i], b = k[Math.min(i + 1, k.length - 1)];
    const part = Math.min(1, Math.max(0, (ms - a[0]) / (b[0] - a[0] || 1)));
    return [a[1] + part * (b[1] - a[1]), (a[2] ?? 0) + part * ((b[2] ?? 0) - (a[2] ?? 0))];
  }

  // An error that does not stand out of its band is neither high nor low.
  function doubtWords(doubt, ms) {
    const [error, band] = errorAt(doubt, ms);
    if (error === null) return 'Doubtful here.';
    const size = v => supported(v, band);
    if (Math.abs(error) < band / 2) return `Doubtful here: could be off by up to ${size(band)} either way (rests on: ${doubt.basis}).`;
    return `Doubtful here: reads about ${size(Math.abs(error))} too ${error > 0 ? 'high' : 'low'}${band > 0 ? ` (± ${size(band)})` : ''}; this rests on: ${doubt.basis}.`;
  }

  function words(ms) {
    const lines = [], readings = [];
    for (const trace of panels) {
      const i = nearest(trace, ms);
      if (i < 0) continue;
      const unit = unitOf(trace);
      const what = trace.meta === 'value' ? facts.label : trace.meta;
      const pass = twice(trace.x[i]) ? ` ${offsetAt(trace, i)}` : '';
      const when = Math.abs(trace.x[i] - ms) >= 60000 || pass ? ` (drawn sample of ${clockOf(trace.x[i], ms)}${pass})` : '';
      readings.push(Number.isFinite(trace.y[i]) ? `${what} ${reading(trace, trace.y[i], what === unit ? '' : unit)}${when}` : `no ${what === facts.label ? 'reading' : what} here`);
    }
    for (const trace of spec.data) {
      if (trace.meta !== 'beside' && trace.meta !== 'related') continue;
      const i = nearest(trace, ms), same = trace.meta === 'beside';
      if (i >= 0 && Number.isFinite(trace.y[i])) readings.push(`${Book.plainText(trace.name)} ${same ? 'beside it ' : ''}${figureText(trace.y[i], same && facts.label === facts.unit ? '' : unitOf(trace), same ? panels[0].decimals : undefined)}`);
    }
    let state = lower(stateStart, ms + 0.5) - 1;
    if (state >= 0 && state < facts.states.code.length) {
      readings.push(`${facts.states.words[facts.states.code[state]]} (${facts.states.whys[facts.states.why[state]]})`);
    }
    lines.push([`${said(ms)}: `, readings.join('; ') + '.']);
    if (twice(ms)) lines.push(['', 'The clock was put back and showed this hour twice: events and states told here may be of either pass.']);
    const slack = (view[1] - view[0]) / 260;
    const inside = facts.events.filter(e => e[1] - slack <= ms && ms <= e[2] + slack)
      .sort((a, b) => (a[2] - a[1]) - (b[2] - b[1])).slice(0, 3);
    for (const e of inside) lines.push(['', `${e[3]} (${e[4]}).`, e[0]]);
    const lost = facts.events.some(e => e[5] && e[1] <= ms && ms < e[2]);
    if (lost) lines.push(['', 'Beyond correction here: the reading says nothing of the process.']);
    for (const d of facts.doubts) {
      if (lost || ms < d.start || ms > d.end) continue;
      lines.push(['', doubtWords(d, ms)]);
    }
    for (const c of facts.calibrations) if (Math.abs(c[0] - ms) <= slack) lines.push(['', `${c[1]}, ${said(c[0])}.`]);
    for (const s of facts.shifts) if (Math.abs(s[0] - ms) <= slack) lines.push(['', s[1]]);
    for (const s of facts.swaps) if (Math.abs(s[0] - ms) <= slack) lines.push(['', `${s[1]}, ${said(s[0])}.`]);
    for (const s of facts.samples) if (Math.abs(s[0] - ms) <= slack && s[1] !== null) lines.push(['', `Laboratory sample ${figureText(s[1], facts.unit)}, ${said(s[0])}.`]);
    return lines;
  }

  function say(ms) {
    at = Math.min(Math.max(ms, view[0]), view[1]);
    clearTimeout(telling);
    telling = setTimeout(tell, 300);
    note.replaceChildren(...words(at).map(([lead, text, id]) => {
      const p = document.createElement('p');
      if (lead) { const b = document.createElement('b'); b.textContent = lead; p.append(b); }
      p.append(text);
      if (id) { const a = document.createElement('a'); a.href = '#ev-' + id; a.textContent = 'look closer'; p.append(' ', a); }
      return p;
    }));
    place();
  }

  function place() {
    const size = plot._fullLayout && plot._fullLayout._size;
    cursor.hidden = at === null || !size || at < view[0] || at > view[1];
    if (cursor.hidden) return;
    cursor.style.left = size.l + (at - view[0]) / (view[1] - view[0]) * size.w + 'px';
    cursor.style.top = size.t + 'px';
    cursor.style.height = size.h + 'px';
  }

  function timeUnder(e) {
    const size = plot._fullLayout._size, box = plot.getBoundingClientRect();
    const part = (e.clientX - box.left - size.l) / size.w;
    return part < 0 || part > 1 ? null : view[0] + part * (view[1] - view[0]);
  }

  // ---- open as data -------------------------------------------------------------------------------
  function rowsIn(trace, span) {
    return [lower(trace.x, span[0]), lower(trace.x, span[1] + 1)];
  }

  function listData() {
    const holder = document.querySelector('.data-table'), most = 300, parts = [];
    for (const trace of panels) {
      const [from, to] = rowsIn(trace, view);
      const unit = unitOf(trace);
      const t = document.createElement('table'), caption = t.createCaption();
      const what = trace.meta === 'value' ? facts.label : trace.meta;
      caption.textContent = `${what}${unit === what ? '' : `, ${unit}`}: ${to - from > most ? `first ${most} of ${to - from}` : to - from} samples drawn in the stretch shown`;
      const head = t.createTHead().insertRow();
      for (const text of [`Time, ${facts.zone}`, unit || 'value']) { const th = document.createElement('th'); th.scope = 'col'; th.textContent = text; head.append(th); }
      const body = t.createTBody();
      for (let i = from; i < Math.min(to, from + most); i++) {
        if (isBreak(trace, i)) continue;
        const row = body.insertRow();
        const there = Number.isFinite(trace.y[i]);
        for (const [text, value] of [[said(trace.x[i], true) + (twice(trace.x[i]) ? ` ${offsetAt(trace, i)}` : ''), trace.x[i]], [there ? String(trace.y[i]) : 'missing', there ? trace.y[i] : -Infinity]]) {
          const cell = row.insertCell();
          cell.textContent = text;
          cell.dataset.value = value;
        }
      }
      Book.sortable(t);
      parts.push(t);
    }
    holder.replaceChildren(...parts);
  }

  function csv(span) {
    const lines = [`time (${facts.zone}),clock,series,value,unit`];
    for (const trace of spec.data) {
      if (!['value', 'temperature', 'noise', 'corrected', 'samples', 'beside', 'related'].includes(trace.meta)) continue;
      const unit = unitOf(trace), series = /beside|related/.test(trace.meta) ? Book.plainText(trace.name) : trace.meta;
      const [from, to] = rowsIn(trace, span);
      for (let i = from; i < to; i++) if (!isBreak(trace, i)) lines.push([stamp(trace.x[i]), 'UTC' + offsetAt(trace, i).replace(' or ', ' or UTC'), series, Number.isFinite(trace.y[i]) ? String(trace.y[i]) : '', unit].map(Book.cell).join(','));
    }
    return lines.join('\n') + '\n';
  }
  const fileName = location.pathname.split('/').pop().replace(/\.html$/, '') || 'record';

  // ---- events from the page and the address ---------------------------------------------------------
  function land() {
    const found = location.hash.match(/^#ev-(\w+)$/);
    const spans = location.hash.match(/^#(at|from)=/) && asked(Book.query());
    if (spans) { look(...spans); return; }
    const last = location.hash.match(/^#last=(\d+)$/);
    if (last) { go(full[1] - Number(last[1]) * DAY, full[1]); document.getElementById('record').scrollIntoView(); return; }
    if (!found) {
      if (facts.focus && !location.hash) look(facts.focus.from, facts.focus.to, facts.focus.words, true);
      return;
    }
    const event = facts.events.find(e => e[0] === found[1]);
    Events.select(found[1]);
    if (!event) return;
    look(event[1], event[2], event[3]);
  }

  // `#at=2026-06-27T14:05` or `#from=...&to=...`, on the plant's clock.
  function asked(query) {
    const ends = [query.get('at') || query.get('from'), query.get('at') || query.get('to')].map(t => t ? parsed(t) : NaN);
    if (isNaN(ends[0])) return null;
    return [ends[0], isNaN(ends[1]) ? full[1] : Math.max(ends[0], ends[1]), query.get('at') ? said(ends[0]) : `${said(ends[0])} to ${said(isNaN(ends[1]) ? full[1] : ends[1])}`];
  }

  // A stretch with room around it, marked, named and read out.
  function look(from, to, words, stay) {
    chosen = ['', from, to, words];
    const step = (facts.drawn[panels[0]?.meta]?.interval || 60) * 1000;
    const room = Math.max((to - from) * 0.45, 20 * step, from === to ? 6 * 3600000 : 2 * 3600000);
    go(from - room, to + room);
    say(Math.min(Math.max(from, view[0]), view[1]));
    if (stay) return;
    document.getElementById('record').scrollIntoView();
    // Words that would lie over the last rows of the record and its axis are brought below them, if both fit.
    const ends = note.getBoundingClientRect().height + wrap.getBoundingClientRect().bottom - innerHeight;
    if (ends > 0 && ends <= wrap.getBoundingClientRect().top) scrollBy(0, Math.ceil(ends) + 4);
    plot.focus({ preventScroll: true });
  }

  function wire() {
    plot.on('plotly_relayout', change => {
      const from = change['xaxis.range[0]'], to = change['xaxis.range[1]'];
      if (from !== undefined && to !== undefined) go(parsed(from), parsed(to));
    });
    plot.on('plotly_doubleclick', () => go(...full));
    plot.on('plotly_afterplot', place);
    plot.addEventListener('pointermove', e => {
      if (pinned || e.buttons) return;
      const ms = timeUnder(e);
      if (ms !== null && !picking) { picking = true; requestAnimationFrame(() => { picking = false; say(ms); }); }
    });
    let down = null;
    plot.addEventListener('pointerdown', e => { down = e.clientX; }, true);
    plot.addEventListener('pointerup', e => {
      if (down === null || Math.abs(e.clientX - down) > 4) return;
      const ms = timeUnder(e);
      if (ms === null) return;
      pinned = e.pointerType === 'mouse' ? !pinned : false;
      say(ms);
    }, true);
    plot.addEventListener('keydown', e => {
      const length = view[1] - view[0], step = length / (e.shiftKey ? 20 : 200);
      const keys = {
        ArrowLeft: () => { if (at !== null && at - step < view[0]) go(view[0] - length / 4, view[1] - length / 4); say((at ?? view[1]) - step); },
        ArrowRight: () => { if (at !== null && at + step > view[1]) go(view[0] + length / 4, view[1] + length / 4); say((at ?? view[0]) + step); },
        Home: () => { go(full[0], full[0] + length); say(view[0]); },
        End: () => { go(full[1] - length, full[1]); say(view[1]); },
        PageUp: () => go(view[0] - length * 0.6, view[1] - length * 0.6),
        PageDown: () => go(view[0] + length * 0.6, view[1] + length * 0.6),
        '+': () => zoom(0.5), '=': () => zoom(0.5), '-': () => zoom(2), Escape: () => { chosen = null; pinned = false; go(...full); },
      };
      if (keys[e.key]) { e.preventDefault(); keys[e.key](); }
    });
    for (const b of document.querySelectorAll('[data-days]')) b.addEventListener('click', () => {
      if (b.dataset.days === 'all') { go(...full); return; }
      const length = Number(b.dataset.days) * DAY, whole = view[0] <= full[0] && view[1] >= full[1];
      // Fewer days than are shown are days of those.
      const middle = view[1] - view[0] > length ? Math.min(Math.max(centre(), view[0] + length / 2), view[1] - length / 2) : centre();
      const end = whole ? full[1] : Math.min(full[1], middle + length / 2);
      go(end - length, end);
    });
    scaleButton.addEventListener('click', () => { wholeScale = !wholeScale; go(...view); });
    document.querySelector('[name=goto]').addEventListener('change', e => {
      if (e.target.value) location.hash = 'at=' + e.target.value;
    });
    for (const b of document.querySelectorAll('[data-move]')) b.addEventListener('click', () => {
      const by = (view[1] - view[0]) * Number(b.dataset.move);
      go(view[0] + by, view[1] + by);
    });
    for (const b of document.querySelectorAll('[data-zoom]')) b.addEventListener('click', () => zoom(Number(b.dataset.zoom)));
    document.querySelector('[data-csv]').addEventListener('click', () => Book.save(fileName + '.csv', 'text/csv', csv(view)));
    const began = document.querySelector('[data-began=data]');
    began?.addEventListener('click', () => Book.save('when-it-began.csv', 'text/csv', csv([Number(began.dataset.from), Number(began.dataset.to)])));
    for (const b of document.querySelectorAll('[data-picture]')) b.addEventListener('click', () => {
      Book.picture(plot, fileName, b.dataset.picture);
    });
    document.querySelector('details.data').addEventListener('toggle', e => { if (e.target.open) listData(); });
    addEventListener('hashchange', land);
    addEventListener('resize', () => requestAnimationFrame(place));
    Book.onTheme(draw);
  }

  // Around what a closer or a wider look turns: the line, while it is in sight, else the middle.
  function centre() {
    return at !== null && at >= view[0] && at <= view[1] ? at : (view[0] + view[1]) / 2;
  }

  function zoom(factor) {
    const half = (view[1] - view[0]) * factor / 2, middle = centre();
    go(middle - half, middle + half);
  }

  // The browser goes to the row of the table once more when everything has loaded: land after that.
  if (document.readyState !== 'complete') addEventListener('load', () => setTimeout(land));

  scaleButton.hidden = !facts.scale.value && !facts.scale.noise;
  wrap.hidden = false;
  draw().then(() => {
    performance.mark('drawn');
    document.querySelector('.drawn').classList.add('paper-only');
    wire();
    tell();
    land();
    document.documentElement.dataset.ready = 'yes';
  });
})();
