"use strict";
// The page asks its own server only, by addresses below its own. What it shows of the card comes as text and numbers.
(function () {
  const $ = (id) => document.getElementById(id);
  const ROW = 128, FRAME = 108;
  const ZOOMS = ["whole", "disc", "1", "2", "4"];

  let card = null;           // the frames and the eclipse
  let recipe = null;         // the recipe as the server knows it
  let merged = new Set();    // frames the corona was merged from
  let places = new Map();    // frame -> its place in the strip
  let shown = [];            // frames that pass the filters, in order
  let rows = [];             // moments: lists of frames
  let rowOf = new Map();     // frame -> row
  let now = -1;              // the frame looked at
  const state = { r: "-", phase: "", used: "", flag: "", burst: "", body: "", quality: "0", zoom: "disc", circles: "", beside: "" };
  let pan = { x: 0, y: 0 };  // in radii of the disc

  // --- asking ---------------------------------------------------------------------------------------------------
  async function ask(path, body) {
    const options = body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
    let answer;
    try { answer = await fetch(path, options); } catch (e) { throw new Error("the program does not answer; is it still running?"); }
    const type = answer.headers.get("Content-Type") || "";
    const said = type.startsWith("application/json") ? await answer.json() : { error: (await answer.text()).trim() };
    if (!answer.ok) { throw new Error(said.error || "that could not be done"); }
    return said;
  }

  let saidTimer = 0;
  function say(text) {
    $("said").textContent = text;
    clearTimeout(saidTimer);
    saidTimer = setTimeout(() => { $("said").textContent = ""; }, 6000);
  }

  function make(tag, props, ...inside) {
    const el = document.createElement(tag);
    for (const [name, value] of Object.entries(props || {})) {
      if (name in el && name !== "list") { el[name] = value; } else { el.setAttribute(name, value); }
    }
    el.append(...inside);
    return el;
  }
  const svg = (tag, props) => {
    const el = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(props)) { el.setAttribute(name, value); }
    return el;
  };

  // --- the address ----------------------------------------------------------------------------------------------
  function readAddress() {
    const parts = new URLSearchParams(location.hash.slice(1));
    for (const key of Object.keys(state)) { if (parts.has(key)) { state[key] = parts.get(key); } }
    if (!ZOOMS.includes(state.zoom)) { state.zoom = "disc"; }
    return parts.get("f");
  }
  const usual = { r: "-", quality: "0", zoom: "disc" };
  function writeAddress() {
    const parts = new URLSearchParams();
    for (const [key, value] of Object.entries(state)) { if (value && value !== usual[key]) { parts.set(key, value); } }
    if (now >= 0) { parts.set("f", card.frames[now].name); }
    history.replaceState(null, "", "#" + parts.toString());
  }

  // --- the card and its filters -----------------------------------------------------------------------------------
  const own = (n) => card.frames[n].name.split("/").pop();
  function options(select, words, first) {
    select.replaceChildren(...first.concat(words.map((w) => [w, w])).map(([value, text]) => make("option", { value, textContent: text })));
  }
  function fillFilters() {
    const there = new Set(card.frames.map((f) => f.phase));
    options($("f-phase"), card.phases.filter((p, n) => there.has(n)), [["", "all"]]);
    options($("f-flag"), card.flags, [["", "all"], ["*", "any flag"], ["-", "no flag"]]);
    const bursts = [...new Set(card.frames.map((f) => f.burst).filter((b) => b !== undefined))].sort((a, b) => a - b);
    options($("f-burst"), [], [["", "all"], ["*", "in a burst"], ["-", "single"]].concat(bursts.map((b) => [String(b), "burst " + b])));
    options($("f-body"), [], [["", "all"]].concat(card.bodies.map((b, n) => [String(n), b])));
    for (const key of ["phase", "used", "flag", "burst", "body", "quality"]) { $("f-" + key).value = state[key]; }
  }
  function passes(n) {
    const f = card.frames[n], flags = f.flags || [];
    if (state.phase && card.phases[f.phase] !== state.phase) { return false; }
    if (state.flag && !(state.flag === "*" ? flags.length : state.flag === "-" ? !flags.length : flags.includes(state.flag))) { return false; }
    if (state.burst && !(state.burst === "*" ? f.burst !== undefined : state.burst === "-" ? f.burst === undefined : String(f.burst) === state.burst)) { return false; }
    if (state.body && String(f.body) !== state.body) { return false; }
    if (Number(state.quality) > 0 && !((f.quality || 0) >= Number(state.quality))) { return false; }
    if (state.used === "in" && !places.has(n)) { return false; }
    if (state.used === "out" && places.has(n)) { return false; }
    if (state.used === "corona" && !merged.has(n)) { return false; }
    if (state.used === "aside" && !(recipe && recipe.aside.includes(n))) { return false; }
    return true;
  }
  // A row holds as many frames as fit, of one phase; a burst has rows of its own.
  let fits = 4;
  function gather() {
    shown = card.frames.map((f, n) => n).filter(passes);
    fits = Math.max(2, Math.floor(($("reel").clientWidth - 104) / FRAME));
    rows = []; rowOf = new Map();
    let last = null;
    for (const n of shown) {
      const f = card.frames[n];
      const together = last !== null && rows[rows.length - 1].length < fits && f.phase === last.phase && f.burst === last.burst;
      if (together) { rows[rows.length - 1].push(n); } else { rows.push([n]); }
      rowOf.set(n, rows.length - 1);
      last = f;
    }
    $("shown").textContent = shown.length === card.frames.length ? shown.length + " frames" : shown.length + " of " + card.frames.length + " frames";
    $("reel-inside").style.height = rows.length * ROW + "px";
    drawn.clear(); $("reel-inside").replaceChildren();
    drawRows(); drawCourse();
  }

  // --- the reel: only the rows in sight exist -----------------------------------------------------------------------
  const drawn = new Map();
  function drawRows() {
    const reel = $("reel");
    const from = Math.max(0, Math.floor(reel.scrollTop / ROW) - 2);
    const to = Math.min(rows.length, Math.ceil((reel.scrollTop + reel.clientHeight) / ROW) + 2);
    for (const [r, el] of drawn) { if (r < from || r >= to) { el.remove(); drawn.delete(r); } }
    for (let r = from; r < to; r += 1) {
      if (!drawn.has(r)) { const el = row(r); drawn.set(r, el); $("reel-inside").append(el); }
    }
    activate();
  }
  function row(r) {
    const first = card.frames[rows[r][0]], last = card.frames[rows[r][rows[r].length - 1]];
    const from = first.at || "no time", to = last.at && last.at !== first.at ? "to " + last.at : "";
    const phase = card.phases[first.phase] || "", burst = first.burst === undefined ? "" : "burst " + first.burst;
    const when = make("div", { className: "when" }, make("b", { textContent: from }), ...[to, phase, burst].filter(Boolean).map((text) => make("span", { textContent: text })));
    when.setAttribute("aria-hidden", "true");
    const line = make("div", { className: "row" }, ...rows[r].map(frame));
    line.setAttribute("role", "presentation");
    const el = make("div", { className: "moment" }, when, line);
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", [from, to, phase, burst].filter(Boolean).join(", "));
    el.style.top = r * ROW + "px";
    return el;
  }
  function frame(n) {
    const f = card.frames[n];
    const el = make("div", { className: "frame", id: "frame-" + n });
    el.setAttribute("role", "option");
    el.dataset.n = n;
    el.append(f.seen ? make("img", { alt: "", loading: "lazy", decoding: "async", src: "thumb/" + n + "?" + card.revision }) : make("div", { className: "none", textContent: "cannot be shown" }));
    el.append(make("span", { textContent: own(n) }), " ", make("span", { className: "state" }), " ", make("span", { className: "unseen" }));
    dress(el, n);
    return el;
  }
  function dress(el, n) {
    const f = card.frames[n], taken = places.has(n), aside = Boolean(recipe && recipe.aside.includes(n)), flags = (f.flags || []).join(" ");
    el.classList.toggle("taken", taken);
    el.classList.toggle("aside", aside);
    el.setAttribute("aria-selected", n === now ? "true" : "false");
    const words = [card.phases[f.phase]];
    if (f.covered !== undefined) { words.push(Math.round(f.covered * 100) + " percent covered"); }
    if (taken) { words.push("in the strip", f.at || "no time"); }
    if (aside) { words.push("set aside"); }
    if (flags) { words.push("flags: " + flags); }
    el.querySelector(".unseen").textContent = words.join(", ");
    el.setAttribute("aria-posinset", shown.indexOf(n) + 1);
    el.setAttribute("aria-setsize", shown.length);
    const stateLine = el.querySelector(".state");
    stateLine.replaceChildren();
    const mark = (name, text) => stateLine.append(make("span", { className: name, textContent: text }));
    if (taken) { mark("mark", places.get(n)); } else if (aside) { mark("mark list", "set aside"); }
    else if (flags) { mark("flag", flags); } else { mark("", (f.at || "no time")); }
  }
  function activate() {
    const el = now >= 0 ? $("frame-" + now) : null;
    if (el) { $("reel").setAttribute("aria-activedescendant", el.id); } else { $("reel").removeAttribute("aria-activedescendant"); }
  }
  function redress() { for (const el of $("reel-inside").querySelectorAll(".frame")) { dress(el, Number(el.dataset.n)); } }

  // --- the course of the eclipse -----------------------------------------------------------------------------------
  let span = [0, 1];
  function drawCourse() {
    const canvas = $("course"), scale = window.devicePixelRatio || 1;
    const w = canvas.clientWidth, h = 96;
    canvas.width = Math.max(1, w * scale); canvas.height = h * scale;
    const g = canvas.getContext("2d");
    g.scale(scale, scale);
    const css = getComputedStyle(document.documentElement), ink = (name) => css.getPropertyValue("--" + name).trim();
    const times = card.contacts.length ? card.contacts.map((c) => c.t) : shown.map((n) => card.frames[n].t).filter((t) => t !== undefined);
    if (!times.length) { return; }
    const lo = Math.min(...times), hi = Math.max(...times), margin = Math.max(300, (hi - lo) * 0.06);
    span = [lo - margin, hi + margin];
    const x = (t) => (t - span[0]) / (span[1] - span[0]) * w, top = 16, bottom = 66;
    const y = (covered) => bottom - covered * (bottom - top);
    g.fillStyle = ink("wash"); g.beginPath(); g.moveTo(x(span[0]), bottom);
    for (const [t, covered] of card.curve) { if (t >= span[0] && t <= span[1]) { g.lineTo(x(t), y(covered)); } }
    g.lineTo(x(span[1]), bottom); g.closePath(); g.fill();
    g.font = "12px system-ui, sans-serif"; g.textAlign = "center";
    let edge = -99;
    for (const c of card.contacts) {
      g.strokeStyle = ink("soft"); g.setLineDash([2, 3]); g.beginPath(); g.moveTo(x(c.t), top - 2); g.lineTo(x(c.t), 90); g.stroke(); g.setLineDash([]);
      if (x(c.t) - edge > 26) { g.fillStyle = ink("ink"); g.fillText(c.name === "maximum" ? "max" : c.name, x(c.t), 11); edge = x(c.t); }
    }
    for (const n of shown) {
      const f = card.frames[n];
      if (f.t === undefined) { continue; }
      const taken = places.has(n);
      g.strokeStyle = taken ? ink("taken") : ink("soft"); g.lineWidth = taken ? 2.5 : 1;
      g.beginPath(); g.moveTo(x(f.t), taken ? 68 : 74); g.lineTo(x(f.t), 90); g.stroke();
    }
    if (now >= 0 && card.frames[now].t !== undefined) {
      g.fillStyle = ink("link"); const at = x(card.frames[now].t);
      g.beginPath(); g.moveTo(at, 66); g.lineTo(at - 5, 58); g.lineTo(at + 5, 58); g.closePath(); g.fill();
    }
  }

  // --- one frame ---------------------------------------------------------------------------------------------------
  function disc(n) { const f = card.frames[n]; return f.sun || f.moon || null; }
  function nearest(n) {
    // Where the filters hid the frame that was looked at, its neighbour in time is.
    if (rowOf.has(n) || !shown.length) { return n; }
    return shown.reduce((best, s) => (Math.abs(s - n) < Math.abs(best - n) ? s : best), shown[0]);
  }
  function go(n, quiet) {
    if (n === undefined || n < 0 || n >= card.frames.length) { return; }
    const before = now;
    if (n !== now) { pan = { x: 0, y: 0 }; }
    now = n;
    if (rowOf.has(n) && !quiet) { reveal(n); }
    for (const m of [before, n]) { const el = m >= 0 && $("frame-" + m); if (el) { dress(el, m); } }
    activate(); look(); drawCourse(); writeAddress();
    for (const el of $("sheet").querySelectorAll("button")) { el.setAttribute("aria-current", Number(el.dataset.n) === n ? "true" : "false"); }
  }
  function reveal(n) {
    const reel = $("reel"), top = rowOf.get(n) * ROW;
    if (top < reel.scrollTop || top + ROW > reel.scrollTop + reel.clientHeight) { reel.scrollTop = Math.max(0, top - (reel.clientHeight - ROW) / 2); }
    drawRows();
    const el = $("frame-" + n);
    if (el) {
      const line = el.parentElement, left = el.offsetLeft - line.offsetLeft;
      if (left < line.scrollLeft || left + el.offsetWidth > line.scrollLeft + line.clientWidth) { line.scrollLeft = left - line.clientWidth / 3; }
    }
  }
  function by(step) {
    const at = shown.indexOf(now);
    if (!shown.length) { return; }
    go(at < 0 ? nearest(now) : shown[Math.min(shown.length - 1, Math.max(0, at + step))]);
  }
  function byRow(step) {
    if (!rows.length) { return; }
    const at = rowOf.has(now) ? rowOf.get(now) : 0;
    go(rows[Math.min(rows.length - 1, Math.max(0, at + step))][0]);
  }
  // The frames before and after by the same body, so that like stands beside like.
  function neighbours(n) {
    const alike = shown.filter((m) => m === n || card.frames[m].seen && card.frames[m].body === card.frames[n].body && card.frames[m].wide === card.frames[n].wide);
    const at = alike.indexOf(n);
    if (at < 0) { return [n]; }
    const from = Math.min(Math.max(0, at - 1), Math.max(0, alike.length - 3));
    return alike.slice(from, from + 3);
  }

  function look() {
    if (now < 0) { return; }
    const f = card.frames[now], facts = [f.at ? f.at + " " + card.zone : "no time", card.phases[f.phase]];
    if (f.covered !== undefined) { facts.push((f.covered * 100).toFixed(1) + " % covered"); }
    if (f.exposure) { facts.push(f.exposure); }
    if (f.body >= 0) { facts.push(card.bodies[f.body]); }
    if (f.burst !== undefined) { facts.push("burst " + f.burst); }
    if (f.quality !== undefined) { facts.push("quality " + f.quality.toFixed(2)); }
    if (merged.has(now)) { facts.push("merged into the corona"); }
    if (f.flags) { facts.push("flags: " + f.flags.join(", ")); }
    $("look-h").textContent = own(now) + (places.has(now) ? " · " + places.get(now) : "");
    $("facts").textContent = facts.join(" · ");
    buttons();
    const beside = state.beside === "1" ? neighbours(now) : [now];
    $("views").classList.toggle("three", beside.length > 1);
    while ($("views").children.length > beside.length) { $("views").lastChild.remove(); }
    while ($("views").children.length < beside.length) { $("views").append(view()); }
    beside.forEach((n, at) => show($("views").children[at], n, beside.length > 1));
    ahead();
    const near = state.zoom !== "whole" && disc(now);
    $("hint").textContent = near && state.zoom !== "disc" ? "Drag, or Shift with the arrow keys, to walk about; every picture moves along." :
      state.zoom !== "whole" && !disc(now) ? "No disc was found in this frame: all of it is shown." : "";
  }
  function view() {
    const box = make("div", { className: "box" }, make("img", { alt: "" }), svg("svg", {}));
    box.addEventListener("pointerdown", drag);
    return make("figure", {}, box, make("figcaption", {}));
  }
  // What to ask of a frame, and the part of it that is shown, in its own pixels.
  function part(n, box) {
    const f = card.frames[n], d = disc(n), scale = Math.min(2, window.devicePixelRatio || 1);
    const side = Math.max(200, Math.round(Math.max(box.clientWidth, box.clientHeight) * scale));
    if (state.zoom === "whole" || !d) {
      const [w, h] = f.size || [3, 2];
      return { src: "picture/" + n + "?side=" + Math.min(2000, Math.ceil(side / 100) * 100), view: [0, 0, w, h], pixels: false };
    }
    if (state.zoom === "disc") {
      const half = f.moon && !f.sun ? 2.6 : card.phases[f.phase] === card.central || /contact/.test(card.phases[f.phase]) ? 2.6 : 1.3;
      return { src: "picture/" + n + "?side=" + Math.ceil(Math.min(box.clientWidth, box.clientHeight) * scale / 100) * 100 + "&half=" + half,
        view: [d[0] + 0.5 - half * d[2], d[1] + 0.5 - half * d[2], 2 * half * d[2], 2 * half * d[2]], pixels: false };
    }
    const px = Math.max(32, Math.round(Math.max(box.clientWidth, box.clientHeight) / Number(state.zoom)));
    const half = px / 2 / d[2];
    const x = d[0] + 0.5 + pan.x * d[2], y = d[1] + 0.5 + pan.y * d[2];
    return { src: "picture/" + n + "?side=" + px + "&half=" + half.toFixed(5) + "&dx=" + pan.x.toFixed(4) + "&dy=" + pan.y.toFixed(4),
      view: [x - px / 2, y - px / 2, px, px], pixels: true };
  }
  function show(figure, n, several) {
    const box = figure.querySelector(".box"), img = box.querySelector("img"), f = card.frames[n], rings = box.querySelector("svg");
    figure.className = n === now && several ? "own" : "";
    figure.querySelector("figcaption").textContent = several ? own(n) + " " + (f.at || "") + (places.has(n) ? " · " + places.get(n) : "") : "";
    const old = box.querySelector(".gone");
    if (old) { old.remove(); }
    if (!f.seen) { img.removeAttribute("src"); img.alt = ""; box.classList.remove("wait"); rings.replaceChildren(); box.append(make("p", { className: "gone", textContent: "This file's pixels cannot be read." })); return; }
    const p = part(n, box);
    img.alt = own(n) + ", " + (card.phases[f.phase] || "") + (f.at ? " at " + f.at : "");
    img.className = p.pixels ? "pixels" : "";
    // One to one means pixel on pixel: the square is cut by the box, not fitted into it.
    img.style.objectFit = p.pixels ? "cover" : "contain";
    if (img.getAttribute("src") !== p.src) {
      box.classList.add("wait");
      img.onload = () => box.classList.remove("wait");
      img.onerror = () => { img.onerror = null; box.classList.remove("wait"); if (!box.querySelector(".gone")) { box.append(make("p", { className: "gone", textContent: "It cannot be opened: is the card in its place?" })); } };
      img.src = p.src;
    }
    rings.setAttribute("viewBox", p.view.join(" "));
    rings.setAttribute("preserveAspectRatio", p.pixels ? "xMidYMid slice" : "xMidYMid meet");
    rings.replaceChildren();
    if (state.circles === "1") {
      for (const kind of ["sun", "moon"]) {
        if (f[kind]) { rings.append(svg("circle", { class: kind, cx: f[kind][0] + 0.5, cy: f[kind][1] + 0.5, r: f[kind][2] })); }
      }
    }
  }
  // The frames one comes to next are fetched while one looks.
  let aheadTimer = 0;
  function ahead() {
    clearTimeout(aheadTimer);
    aheadTimer = setTimeout(() => {
      const box = $("views").querySelector(".box"), at = shown.indexOf(now);
      if (!box || at < 0 || state.zoom === "1" || state.zoom === "2" || state.zoom === "4") { return; }
      for (const n of [shown[at + 1], shown[at - 1]]) { if (n !== undefined && card.frames[n].seen) { new Image().src = part(n, box).src; } }
    }, 250);
  }
  function walk(dx, dy) {
    const d = disc(now);
    if (!d || state.zoom === "whole" || state.zoom === "disc") { return; }
    const held = (v) => Math.max(-6, Math.min(6, v));
    pan = { x: held(pan.x + dx / Number(state.zoom) / d[2]), y: held(pan.y + dy / Number(state.zoom) / d[2]) };
    look();
  }
  function drag(event) {
    if (event.button !== 0 || state.zoom === "whole" || state.zoom === "disc") { return; }
    const box = event.currentTarget;
    let [x, y] = [event.clientX, event.clientY], due = false;
    const move = (e) => {
      if (due) { return; }
      due = true;
      setTimeout(() => { due = false; walk(x - e.clientX, y - e.clientY); [x, y] = [e.clientX, e.clientY]; }, 60);
    };
    const end = () => { box.removeEventListener("pointermove", move); };
    box.setPointerCapture(event.pointerId);
    box.addEventListener("pointermove", move);
    box.addEventListener("pointerup", end, { once: true });
    box.addEventListener("pointercancel", end, { once: true });
    event.preventDefault();
  }
  function zoom(to) {
    state.zoom = to;
    for (const b of document.querySelectorAll(".zoom")) { b.setAttribute("aria-pressed", b.dataset.zoom === to ? "true" : "false"); }
    look(); writeAddress();
  }
  function toggle(key) {
    state[key] = state[key] === "1" ? "" : "1";
    $(key).setAttribute("aria-pressed", state[key] === "1" ? "true" : "false");
    look(); writeAddress();
  }

  // --- the recipe --------------------------------------------------------------------------------------------------
  function took(fresh) {
    recipe = fresh;
    places = new Map();
    recipe.before.forEach((n, at) => places.set(n, (at + 1) + " before"));
    recipe.after.forEach((n, at) => places.set(n, (at + 1) + " after"));
    if (typeof recipe.centre === "number") { places.set(recipe.centre, "middle"); }
    const count = recipe.before.length + recipe.after.length;
    const middle = recipe.centre === "corona" ? ", the corona in the middle" : typeof recipe.centre === "number" ? ", one in the middle" : "";
    $("strip-count").textContent = count + (count === 1 ? " frame" : " frames") + middle;
    $("undo").disabled = recipe.undo === 0;
    $("redo").disabled = recipe.redo === 0;
    $("file").textContent = recipe.file;
    options($("recipe"), [], recipe.all.map((r) => [r, r === "-" ? "strip" : r]));
    $("recipe").value = recipe.name;
    results(); fields();
    if (state.used) { gather(); } else { redress(); drawCourse(); }
    if (now >= 0) { look(); }
    redraw();
  }
  let last = Promise.resolve();  // the change asked for last, answered or not
  function change(changes, words) { last = changed(changes, words); return last; }
  async function changed(changes, words) {
    try { took(await ask("recipe/" + state.r + "/edit", changes)); if (words) { say(words); } return true; }
    catch (e) { say(e.message); return false; }
  }
  // What can be taken back is known when the answer to the change before is there.
  function undo(which) { last = last.then(() => takeStep(which)); return last; }
  async function takeStep(which) {
    if ((which === "undo" ? recipe.undo : recipe.redo) === 0) { say("nothing to " + which); return; }
    try { took(await ask("recipe/" + state.r + "/" + which, {})); say(which === "undo" ? "taken back" : "done again"); }
    catch (e) { say(e.message); await load(); }
  }
  async function load() {
    try { took(await ask("recipe/" + state.r)); } catch (e) { say(e.message); $("sheet").replaceChildren(make("p", { textContent: e.message })); }
  }
  function buttons() {
    const inside = places.has(now), aside = recipe && recipe.aside.includes(now), listed = inside && places.get(now) !== "middle";
    $("take").disabled = inside; $("leave").disabled = !inside;
    $("aside").setAttribute("aria-pressed", aside ? "true" : "false");
    $("middle").setAttribute("aria-pressed", inside && !listed ? "true" : "false");
    const without = Boolean(recipe && recipe.without.includes(now)), dark = card.phases[card.frames[now].phase] === "totality";
    $("corona").hidden = !dark && !without;
    $("corona").setAttribute("aria-pressed", without ? "true" : "false");
    $("earlier").disabled = $("later").disabled = !listed;
  }
  const doing = {
    take: () => places.has(now) ? say(own(now) + " is in the strip already") : change([{ take: now }], own(now) + (disc(now) ? " taken into the strip" : " taken into the strip; no disc was found in it, so nothing of it is drawn")),
    leave: () => places.has(now) ? change([{ drop: now }], own(now) + " left out") : say(own(now) + " is not in the strip"),
    aside: () => recipe.aside.includes(now) ? change([{ back: now }], own(now) + " brought back") : change([{ aside: now }], own(now) + " set aside"),
    middle: () => {
      if (recipe.centre === now) { return change([{ set: { key: "centre", value: card.corona ? "corona" : "none" } }], card.corona ? "the corona is in the middle again" : "the middle is empty"); }
      const out = places.has(now) ? [{ drop: now }] : [];
      return change(out.concat([{ set: { key: "centre", value: { frame: now } } }]), own(now) + " is in the middle");
    },
    corona: () => {
      if (recipe.without.includes(now)) { return change([{ with: now }], "the corona is to be merged with " + own(now) + " again"); }
      if ($("corona").hidden) { return say("only frames of totality are merged into the corona"); }
      return change([{ without: now }], "the corona is to be merged without " + own(now) + "; Merge the corona does it");
    },
    earlier: () => shift(-1),
    later: () => shift(1),
  };
  function shift(step) {
    const at = [recipe.before.indexOf(now), recipe.after.indexOf(now)];
    if (at[0] < 0 && at[1] < 0) { return say(own(now) + " is in neither list of the strip"); }
    let side = at[0] >= 0 ? 0 : 1, to = at[side] + step;
    if (side === 0 && to >= recipe.before.length) { side = 1; to = 0; }
    else if (side === 1 && to < 0) { side = 0; to = recipe.before.length; }
    if (to < 0 || side === 1 && to >= recipe.after.length && at[1] >= 0) { return say("it is at the end of the strip already"); }
    return change([{ move: { frame: now, list: side ? "after" : "before", at: to } }], own(now) + " moved");
  }

  // --- the strip as it stands ----------------------------------------------------------------------------------------
  let asked = 0, drawing = false;
  async function redraw() {
    asked += 1;
    if (drawing) { return; }
    drawing = true;
    $("sheet").classList.add("stale");
    while (asked) {
      asked = 0;
      const wide = Math.ceil(Math.min(2400, Math.max(400, $("strip").clientWidth * Math.min(2, window.devicePixelRatio || 1))) / 100) * 100;
      try { sheet(await ask("strip/" + state.r + "?width=" + wide)); }
      catch (e) { $("sheet").replaceChildren(make("p", { textContent: e.message })); }
    }
    drawing = false;
    $("sheet").classList.remove("stale");
  }
  function sheet(drawnStrip) {
    const focused = document.activeElement && document.activeElement.closest("#sheet") ? document.activeElement.dataset.n : null;
    const canvas = make("div", { className: "canvas" }, make("img", { alt: "The strip as it stands", src: "sheet/" + drawnStrip.sheet }));
    canvas.style.maxWidth = drawnStrip.width + "px";
    // A tall sheet is shown whole on a wide screen.
    canvas.style.width = "min(100%, calc(70vh * " + (drawnStrip.width / drawnStrip.height).toFixed(4) + "))";
    for (const p of drawnStrip.placed) {
      if (p.frame === null) { continue; }
      const b = make("button", { type: "button", title: own(p.frame) });
      b.setAttribute("aria-label", own(p.frame) + ", " + (card.frames[p.frame].at || "no time"));
      b.setAttribute("aria-current", p.frame === now ? "true" : "false");
      b.dataset.n = p.frame;
      const size = Math.max(24, 2.2 * p.r * Math.min(1, $("sheet").clientWidth / drawnStrip.width));
      b.style.left = p.x / drawnStrip.width * 100 + "%"; b.style.top = p.y / drawnStrip.height * 100 + "%";
      b.style.width = b.style.height = size + "px";
      canvas.append(b);
    }
    $("sheet").replaceChildren(canvas);
    if (focused !== null) { const b = canvas.querySelector("button[data-n=\"" + focused + "\"]"); if (b) { b.focus({ preventScroll: true }); } }
    $("told").hidden = !drawnStrip.notices.length;
    $("told").querySelector("summary").textContent = drawnStrip.notices.length === 1 ? "1 thing to know of this strip" : drawnStrip.notices.length + " things to know of this strip";
    $("told").querySelector("ul").replaceChildren(...drawnStrip.notices.map((n) => make("li", { textContent: n })));
  }

  // --- the fields of the recipe ----------------------------------------------------------------------------------------
  const GROUPS = [
    ["Sheet", ["layout", "paper", "dpi", "bleed_in", "width_px", "background"]],
    ["Discs", ["disc_px", "spacing", "margin", "centre", "extent_radii", "centre_size", "orientation", "align", "white_balance", "matched", "brightness"]],
    ["Words", ["captions", "credit", "embed_location"]],
    ["Wide view", ["foreground", "foreground_az_deg", "foreground_horizon", "foreground_width_deg"]],
    ["Corona", ["corona_strength", "corona_extent_radii", "flatten"]],
    ["Files", null],
  ];
  const PAPERS = ["none", "8x10 in", "11x14 in", "12x18 in", "18x12 in", "24x8 in", "84x12 in", "30x45 cm", "45x30 cm"];
  function wish(field) { return recipe.fields.find((f) => f.name === field); }
  function fields() {
    const named = new Set(GROUPS.flatMap((g) => g[1] || []));
    const groups = GROUPS.map(([title, names]) => [title, names || recipe.fields.map((f) => f.name).filter((n) => !named.has(n))]);
    if (!$("fields").children.length) {
      groups.forEach(([title, names], n) => {
        const fold = make("details", { open: n === 0 }, make("summary", { textContent: title }));
        for (const name of names) { const f = wish(name); if (f) { fold.append(field(f)); } }
        $("fields").append(fold);
      });
      $("fields").append(make("datalist", { id: "papers" }, ...PAPERS.map((value) => make("option", { value }))));
    }
    for (const f of recipe.fields) { fill(f); }
  }
  function field(f) {
    const id = "w-" + f.name, words = f.name.replace(/_/g, " ");
    const about = make("p", { className: "about", id: id + "-about", textContent: f.about + (f.kind === "number" ? " " + f.least + " to " + f.most + (f.auto ? ", or auto." : ".") : "") });
    let control;
    if (f.kind === "several") {
      control = make("fieldset", {}, ...f.words.map((word) => make("span", { className: "pair" }, make("input", { type: "checkbox", id: id + "-" + word, value: word }), make("label", { htmlFor: id + "-" + word, textContent: word }), "\u00a0 ")));
      control.setAttribute("aria-label", words);
    } else if (f.kind === "choice" || f.kind === "centre" || f.kind === "frame") {
      control = make("select", { id });
    } else {
      control = make("input", { id, type: f.kind === "truth" ? "checkbox" : f.kind === "colour" ? "color" : "text", autocomplete: "off" });
      if (f.kind === "number") { control.inputMode = f.auto ? "text" : "decimal"; }
      if (f.kind === "paper") { control.setAttribute("list", "papers"); }
    }
    control.setAttribute("aria-describedby", about.id);
    const label = f.kind === "several" ? make("span", { textContent: words }) : make("label", { htmlFor: id, textContent: words });
    const el = make("div", { className: "field " + f.kind }, label, control, about);
    el.dataset.name = f.name;
    el.addEventListener("change", () => wished(el, wish(f.name)));
    return el;
  }
  function fill(f) {
    const el = $("fields").querySelector("[data-name=\"" + f.name + "\"]"), control = el && el.querySelector("select,input,fieldset");
    if (!el) { return; }
    const wrong = el.querySelector(".wrong");
    if (wrong) { wrong.remove(); }
    for (const c of el.querySelectorAll("[aria-invalid]")) { c.removeAttribute("aria-invalid"); }
    if (f.kind === "several") { for (const box of control.querySelectorAll("input")) { box.checked = f.value.includes(box.value); } return; }
    if (f.kind === "truth") { control.checked = f.value; return; }
    if (f.kind === "choice") { options(control, f.words, []); }
    if (f.kind === "centre" || f.kind === "frame") {
      const listed = f.kind === "centre" ? [["none", "nothing"], ["corona", "the corona"]] : [["none", "none"]];
      const frames = f.kind === "frame" ? card.frames.map((g, n) => n).filter((n) => card.frames[n].wide && card.frames[n].seen).slice(0, 400) : [];
      if (f.frame !== null && !frames.includes(f.frame)) { frames.unshift(f.frame); }
      options(control, [], listed.concat(frames.map((n) => ["#" + n, own(n) + " " + (card.frames[n].at || "")])));
      control.value = f.frame !== null ? "#" + f.frame : f.value;
      return;
    }
    if (document.activeElement !== control || control.tagName === "SELECT") { control.value = f.value; }
  }
  async function wished(el, f) {
    const control = el.querySelector("select,input");
    let value = control.value.trim();
    if (f.kind === "several") { value = [...el.querySelectorAll("input:checked")].map((c) => c.value); }
    else if (f.kind === "truth") { value = control.checked; }
    else if (f.kind === "number" && value !== "auto") { value = Number(value.replace(",", ".")); if (control.value.trim() === "" || !Number.isFinite(value)) { value = control.value.trim(); } }
    else if (value.startsWith("#") && f.kind !== "colour" && f.kind !== "text") { value = { frame: Number(value.slice(1)) }; }
    else if (value === "" && (f.kind === "text" || f.kind === "paper")) { value = "none"; }
    try {
      took(await ask("recipe/" + state.r + "/edit", [{ set: { key: f.name, value } }]));
      control.value = control.type === "checkbox" || control.tagName === "SELECT" ? control.value : wish(f.name).value;
    } catch (e) {
      const told = el.querySelector(".wrong") || make("p", { className: "wrong", role: "alert" });
      told.textContent = e.message.replace(/^strip\.toml line \d+: /, "");
      control.setAttribute("aria-invalid", "true");
      el.append(told);
    }
  }

  // --- making ----------------------------------------------------------------------------------------------------------
  let workSeen = null, workShown = false;
  async function begin(what) {
    const work = what === "export" ? { export: { frames: $("which").value, link: $("link").checked } } : what;
    try { await ask("work/" + state.r, work); workShown = true; $("ended").replaceChildren(); pulse(); } catch (e) { say(e.message); }
  }
  function work(w) {
    $("work").hidden = !w.running;
    for (const b of document.querySelectorAll(".make")) { b.disabled = w.running; }
    if (w.running) {
      workShown = true;
      $("stage").textContent = (w.stage || "beginning") + (w.total ? " " + w.done + " of " + w.total : "");
      if (w.total) { $("far").value = Math.min(1, w.done / w.total); } else { $("far").removeAttribute("value"); }
    } else if (workShown && w.count !== workSeen) {
      workSeen = w.count; workShown = false;
      const files = w.files.slice(0, 12);
      $("ended").replaceChildren(make("p", { textContent: w.good ? "Done: " + files.join(", ") + (w.files.length > files.length ? " and more" : "") : "It could not be done." }),
        make("ul", {}, ...w.lines.map((line) => make("li", { textContent: line }))));
      say(w.good ? "done" : "it could not be done");
      load();
    }
  }
  function results() {
    const size = (b) => b >= 1e6 ? (b / 1e6).toFixed(1) + " MB" : Math.ceil(b / 1e3) + " kB";
    const items = recipe.results.map((r) => {
      const text = r.name + ", " + size(r.bytes);
      return make("li", {}, r.opens ? make("a", { href: "result/" + recipe.name + "/" + r.number, target: "_blank", rel: "noopener", textContent: text }) : text);
    });
    $("results").replaceChildren(...(items.length ? items : [make("li", { textContent: "none yet" })]));
    corona();
  }
  // The corona as it was merged last; a number in the address that grows with each merge has the browser ask anew.
  function corona() {
    const r = recipe.results.find((r) => r.name === "corona.png");
    $("merged").hidden = !r;
    if (!r) { return; }
    const at = "result/" + recipe.name + "/" + r.number, src = at + "/small?" + r.changed;
    $("merged-open").href = at;
    const img = $("merged-picture");
    if (img.getAttribute("src") !== src) { img.setAttribute("src", src); }
  }

  // --- what others do meanwhile: another tab, an editor, the command line -------------------------------------------------
  let pulseTimer = 0, beating = false;
  async function pulse() {
    clearTimeout(pulseTimer);
    if (beating) { return; }
    beating = true;
    let soon = 1200;
    try {
      const p = await ask("pulse/" + state.r);
      if (p.card !== card.revision) { await loadCard(now >= 0 ? card.frames[now].name : null); }
      if (recipe && p.recipe !== recipe.revision) { await load(); }
      work(p.work);
      if (p.work.running) { soon = 350; }
    } catch (e) { say(e.message); soon = 4000; }
    beating = false;
    pulseTimer = setTimeout(pulse, document.hidden ? 5000 : soon);
  }

  // --- keys --------------------------------------------------------------------------------------------------------------
  function onKey(event) {
    const el = event.target, typing = el.closest("input:not([type=checkbox]):not([type=range]):not([type=color]),select,textarea,dialog");
    const ctrl = event.ctrlKey || event.metaKey, key = event.key;
    if (ctrl && !typing && key.toLowerCase() === "z") { event.preventDefault(); undo(event.shiftKey ? "redo" : "undo"); return; }
    if (ctrl && !typing && key.toLowerCase() === "y") { event.preventDefault(); undo("redo"); return; }
    if (ctrl || event.altKey || typing) { return; }
    if (el.matches && el.matches("input[type=range],input[type=color]") && key.startsWith("Arrow")) { return; }
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    let done = true;
    if (arrows[key] && event.shiftKey) { walk(40 * arrows[key][0], 40 * arrows[key][1]); }
    else if (key === "ArrowLeft") { by(-1); } else if (key === "ArrowRight") { by(1); }
    else if (key === "ArrowUp") { byRow(-1); } else if (key === "ArrowDown") { byRow(1); }
    else if (key === "PageUp" && el === $("reel")) { byRow(-4); } else if (key === "PageDown" && el === $("reel")) { byRow(4); }
    else if (key === "Home" && el === $("reel")) { go(shown[0]); } else if (key === "End" && el === $("reel")) { go(shown[shown.length - 1]); }
    else if ((key === "Enter" || key === " ") && el === $("reel")) { (places.has(now) ? doing.leave : doing.take)(); }
    else if ($("single").checked) {
      const letters = { t: doing.take, x: doing.leave, l: doing.aside, m: doing.middle, k: doing.corona, "[": doing.earlier, "]": doing.later,
        c: () => toggle("circles"), s: () => toggle("beside"), u: () => undo("undo"), r: () => undo("redo"), "?": () => $("help").showModal(),
        z: () => zoom(ZOOMS[event.shiftKey ? Math.max(0, ZOOMS.indexOf(state.zoom) - 1) : (ZOOMS.indexOf(state.zoom) + 1) % ZOOMS.length]) };
      const act = letters[key.length === 1 ? key.toLowerCase() : key];
      if (act) { act(); } else { done = false; }
    } else { done = false; }
    if (done) { event.preventDefault(); }
  }

  // --- beginning -----------------------------------------------------------------------------------------------------------
  async function loadCard(name) {
    card = await ask("card");
    document.title = "Choosing frames · " + card.title;
    $("title").textContent = card.title;
    $("safety").replaceChildren(make("p", { textContent: card.safety.join(" ") }));
    merged = new Set(card.merged);
    fillFilters();
    $("f-quality-is").textContent = state.quality;
    const at = card.frames.findIndex((f) => f.name === name);
    now = at;
    gather();
  }
  function listen() {
    document.addEventListener("keydown", onKey);
    $("reel").addEventListener("scroll", drawRows, { passive: true });
    $("reel").addEventListener("click", (e) => { const el = e.target.closest(".frame"); if (el) { go(Number(el.dataset.n), true); $("reel").focus({ preventScroll: true }); } });
    $("reel").addEventListener("dblclick", (e) => { if (e.target.closest(".frame")) { (places.has(now) ? doing.leave : doing.take)(); } });
    $("sheet").addEventListener("click", (e) => { const el = e.target.closest("button"); if (el) { go(Number(el.dataset.n)); } });
    $("course").addEventListener("click", (e) => {
      const t = span[0] + e.offsetX / $("course").clientWidth * (span[1] - span[0]);
      const timed = shown.filter((n) => card.frames[n].t !== undefined);
      if (timed.length) { go(timed.reduce((best, n) => (Math.abs(card.frames[n].t - t) < Math.abs(card.frames[best].t - t) ? n : best), timed[0])); }
    });
    $("filters").addEventListener("input", () => {
      for (const key of ["phase", "used", "flag", "burst", "body", "quality"]) { state[key] = $("f-" + key).value; }
      $("f-quality-is").textContent = state.quality;
      gather(); const to = nearest(now); if (to !== now) { go(to); } else if (now >= 0) { reveal(now); look(); }
      writeAddress();
    });
    $("filters").addEventListener("submit", (e) => e.preventDefault());
    $("f-all").addEventListener("click", () => {
      for (const key of ["phase", "used", "flag", "burst", "body"]) { state[key] = $("f-" + key).value = ""; }
      state.quality = $("f-quality").value = "0"; $("f-quality-is").textContent = "0";
      gather(); if (now >= 0) { reveal(now); look(); } writeAddress();
    });
    for (const id of Object.keys(doing)) { $(id).addEventListener("click", doing[id]); }
    for (const b of document.querySelectorAll(".zoom")) { b.addEventListener("click", () => zoom(b.dataset.zoom)); }
    for (const key of ["circles", "beside"]) { $(key).addEventListener("click", () => toggle(key)); }
    for (const which of ["undo", "redo"]) { $(which).addEventListener("click", () => undo(which)); }
    $("keys").addEventListener("click", () => $("help").showModal());
    $("single").addEventListener("change", () => say($("single").checked ? "single keys work" : "single keys are off"));
    for (const b of document.querySelectorAll(".make")) { b.addEventListener("click", () => begin(b.dataset.make)); }
    $("stop").addEventListener("click", () => ask("stop", {}).catch((e) => say(e.message)));
    $("recipe").addEventListener("change", async () => { state.r = $("recipe").value; writeAddress(); await load(); });
    $("fresh").addEventListener("submit", async (e) => {
      e.preventDefault();
      const name = $("fresh-name").value.trim();
      if (!name) { return; }
      const before = state.r;
      state.r = name;
      try { took(await ask("recipe/" + name)); $("fresh-name").value = ""; say("a recipe of its own: " + recipe.file); } catch (error) { state.r = before; say(error.message); }
      writeAddress();
    });
    let sized = 0;
    window.addEventListener("resize", () => { clearTimeout(sized); sized = setTimeout(() => { gather(); if (rowOf.has(now)) { reveal(now); } look(); redraw(); }, 200); });
    window.addEventListener("hashchange", () => { const f = readAddress(); fillFilters(); gather(); const n = card.frames.findIndex((g) => g.name === f); if (n >= 0 && n !== now) { go(n); } zoom(state.zoom); });
  }
  async function start() {
    const name = readAddress();
    try { await loadCard(name); } catch (e) { $("sheet").replaceChildren(make("p", { textContent: e.message })); return; }
    listen();
    for (const key of ["circles", "beside"]) { $(key).setAttribute("aria-pressed", state[key] === "1" ? "true" : "false"); }
    for (const b of document.querySelectorAll(".zoom")) { b.setAttribute("aria-pressed", b.dataset.zoom === state.zoom ? "true" : "false"); }
    const loading = load();
    const first = now >= 0 ? now : shown.find((n) => disc(n)) || shown[0];
    if (first !== undefined) { go(first); }
    await loading;
    document.documentElement.dataset.ready = "1";
    pulse();
  }
  start();
})();
