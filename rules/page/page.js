'use strict';
// The page's one script: theme, the list of findings, and the part in 3D. It
// draws on request only, asks no host for anything, and where the browser has
// no WebGL the page stays whole with its pictures.
(() => {
const $ = (s, at = document) => at.querySelector(s);
const $$ = (s, at = document) => [...at.querySelectorAll(s)];
const root = document.documentElement;
root.classList.add('js');

// Light, dark, and the reader's own choice.
const dark = matchMedia('(prefers-color-scheme: dark)');
$('#theme').onclick = () => {
  const is = root.dataset.theme || (dark.matches ? 'dark' : 'light');
  root.dataset.theme = is === 'dark' ? 'light' : 'dark';
  redraw();
};
$('#print').onclick = () => print();
addEventListener('beforeprint', () => $$('details').forEach(d => { d.dataset.was = d.open; d.open = true; }));
addEventListener('afterprint', () => $$('details').forEach(d => { d.open = d.dataset.was === 'true'; }));

let redraw = () => {};
let view = null; // set once the part can be drawn

// The findings: one is chosen at a time, by click, key or address.
const items = $$('.finding');
let chosen = null;

function choose(item, opts = {}) {
  if (chosen) {
    chosen.classList.remove('chosen');
    $('.pick', chosen).setAttribute('aria-expanded', 'false');
  }
  if (item === chosen && opts.toggle) item = null;
  chosen = item;
  if (item) {
    item.classList.add('chosen');
    $('.pick', item).setAttribute('aria-expanded', 'true');
    if (opts.focus) $('.pick', item).focus({preventScroll: true});
    if (opts.scroll) reveal(item);
  }
  history.replaceState(null, '', item ? '#' + item.id : '#');
  if (view) view.choose(item ? +item.dataset.n : 0, opts.still);
  return item;
}

// A narrow window has the list below the view: what is chosen in the view is
// told there, and the view stays.
const wide = matchMedia('(min-width: 60.01rem)');
function chooseInView(item) {
  choose(item, {scroll: wide.matches});
  if (!wide.matches) $('#readout').textContent = $('.message', item).textContent;
}

// reveal scrolls until the finding is seen, from its top where it is tall.
function reveal(item) {
  item.scrollIntoView({block: 'nearest'});
  const list = item.parentElement, top = item.getBoundingClientRect().top - list.getBoundingClientRect().top;
  if (top < 0) list.scrollTop += top;
}

function step(by) {
  if (!items.length) return;
  const i = chosen ? items.indexOf(chosen) + by : by > 0 ? 0 : items.length - 1;
  choose(items[(i + items.length) % items.length], {scroll: true, focus: true});
}

for (const item of items) {
  $('.pick', item).onclick = () => choose(item, {toggle: true, scroll: true});
  for (const b of $$('[data-step]', item)) b.onclick = () => view && view.stepPlace(+b.dataset.step, $('output', item));
}

addEventListener('keydown', e => {
  if (e.ctrlKey || e.metaKey || e.altKey) return;
  if (e.key === 'n') step(1);
  else if (e.key === 'p') step(-1);
  else if (e.key === 'Escape' && chosen) { $('.pick', chosen).focus(); choose(null); }
  else if (view && view.key(e)) e.preventDefault();
});

// The lists of numbers beside the page: see pack.go.
async function unpack(text) {
  const raw = Uint8Array.from(atob(text), c => c.charCodeAt(0));
  const flat = new Blob([raw]).stream().pipeThrough(new DecompressionStream('deflate-raw'));
  const bytes = new Uint8Array(await new Response(flat).arrayBuffer());
  let at = 0;
  return n => {
    const out = new Int32Array(n);
    for (let i = 0, last = 0; i < n; i++) {
      let v = 0, shift = 0, b;
      do { b = bytes[at++]; v |= (b & 127) << shift; shift += 7; } while (b > 127);
      out[i] = last = (last + ((v >>> 1) ^ -(v & 1))) | 0;
    }
    return out;
  };
}

// Small vectors.
const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const along = (a, t, d) => [a[0] + t * d[0], a[1] + t * d[1], a[2] + t * d[2]];
const rgb = h => [1, 3, 5].map(i => parseInt(h.slice(i, i + 2), 16) / 255);
const say = (v, d = 2) => String(+v.toFixed(d));

const solidVertex = `#version 300 es
in vec3 at; in vec2 facing; in vec4 value;
uniform mat4 camera; uniform vec3 size; uniform float lift;
out vec3 place; flat out vec3 normal; flat out vec4 kept;
void main() {
  place = at * size + vec3(0, 0, lift);
  vec2 o = facing * 2. - 1.;
  vec3 n = vec3(o, 1. - abs(o.x) - abs(o.y));
  if (n.z < 0.) n.xy = (1. - abs(n.yx)) * vec2(n.x < 0. ? -1. : 1., n.y < 0. ? -1. : 1.);
  normal = normalize(n); kept = value;
  gl_Position = camera * vec4(place, 1);
}`;

const solidFragment = `#version 300 es
precision highp float; precision highp int;
in vec3 place; flat in vec3 normal; flat in vec4 kept;
uniform vec3 right, up, back, stone, cutColor; uniform vec3 levels[4]; uniform vec3 supports[3];
uniform vec4 cut; uniform int mode; uniform bool some; uniform float angle, wallCap, wall, lift, pixel;
uniform sampler2D scale;
out vec4 color;
vec3 onScale(float share) { return texture(scale, vec2(clamp(share / 2., 0., .9999), .5)).rgb; }
void main() {
  if (dot(place, cut.xyz) > cut.w) discard;
  if (!gl_FrontFacing) { // the inside of the surface: material cut through, hatched as on a drawing
    float line = mod(gl_FragCoord.x + gl_FragCoord.y, 9. * pixel);
    color = vec4(cutColor * (line < 1.2 * pixel ? .72 : 1.), 1); return;
  }
  vec3 c = stone; float plain = 1.;
  if (mode == 0) {
    int level = int(kept.y * 255. + .5); bool mine = kept.w > .5;
    if (mine) c = levels[max(level, 1)];
    else if (level > 0) c = some ? mix(levels[level], stone, .72) : levels[level];
    plain = mine ? .6 : 1.;
  } else if (mode == 1) {
    bool rests = lift <= 0. && normal.z < -.9999 && place.z < 1e-3;
    if (normal.z < -1e-4 && !rests) { c = onScale(degrees(acos(min(1., -normal.z))) / angle); plain = .5; }
  } else if (mode == 2) {
    if (kept.x < .999) { c = onScale(kept.x * wallCap / wall); plain = .5; }
  } else {
    int kind = int(kept.z * 255. + .5);
    if (kind > 0) { c = supports[kind - 1]; plain = .6; }
  }
  float light = .8 + .27 * dot(normal, .5 * back + .72 * up - .48 * right);
  color = vec4(min(vec3(1), c * mix(1., light, plain)), 1);
}`;

const lineVertex = `#version 300 es
in vec3 at; uniform mat4 camera; uniform vec3 size; uniform float lift; out vec3 place;
void main() { place = at * size + vec3(0, 0, lift); gl_Position = camera * vec4(place, 1); }`;

const lineFragment = `#version 300 es
precision highp float; in vec3 place; uniform vec4 cut, ink; out vec4 color;
void main() { if (dot(place, cut.xyz) > cut.w) discard; color = vec4(ink.rgb * ink.a, ink.a); }`;

function program(gl, vertex, fragment) {
  const p = gl.createProgram();
  for (const [type, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const s = gl.createShader(type);
    gl.shaderSource(s, text);
    gl.compileShader(s);
    gl.attachShader(p, s);
  }
  gl.linkProgram(p);
  if (!gl.getProgramParameter(p, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(p));
  const at = {};
  for (let i = gl.getProgramParameter(p, gl.ACTIVE_UNIFORMS); i-- > 0;) {
    const name = gl.getActiveUniform(p, i).name;
    at[name.replace('[0]', '')] = gl.getUniformLocation(p, name);
  }
  return {p, at, of: name => gl.getAttribLocation(p, name)};
}

// Part makes the drawing of a scene; it throws where the browser can't.
class Part {
  constructor(canvas, scene, take) {
    this.canvas = canvas;
    this.s = scene;
    this.gl = canvas.getContext('webgl2', {antialias: true, alpha: true, premultipliedAlpha: true, preserveDrawingBuffer: true, stencil: true});
    if (!this.gl) throw new Error('no WebGL 2');
    this.read(take);
    this.solid = program(this.gl, solidVertex, solidFragment);
    this.line = program(this.gl, lineVertex, lineFragment);
    this.fill();
    this.mode = 0;
    this.number = 0;
    this.cutHeight = null; // mm above the part's lowest point
    this.cutPlane = null;  // [normal, distance], square to the view at a place
    this.home();
  }

  read(take) {
    const s = this.s;
    this.x = [take(s.verts), take(s.verts), take(s.verts)];
    this.corners = take(3 * s.facets);
    this.normals = [take(s.facets), take(s.facets)];
    this.thick = take(s.facets);
    this.level = take(s.facets);
    this.kind = take(s.facets);
    this.floor = take(s.facets);
    this.edges = take(2 * s.edges);
    this.facetsOf = new Map();
    this.placed = new Map();
    for (const f of s.findings) {
      this.facetsOf.set(f.n, take(f.facets));
      this.placed.set(f.n, f);
    }
    this.findingAt = new Int32Array(s.facets);
    for (const f of [...s.findings].sort((a, b) => a.level - b.level)) for (const g of this.facetsOf.get(f.n)) this.findingAt[g] = f.n;
  }

  // corner gives a corner of the view's mesh, mm from the corner of the part's box.
  corner(i) { return [0, 1, 2].map(k => this.x[k][i] / 65535 * this.s.size[k]); }

  fill() {
    const gl = this.gl, n = this.s.facets;
    const bytes = new ArrayBuffer(12 * 3 * n), u16 = new Uint16Array(bytes);
    this.values = new Uint8Array(4 * 3 * n);
    for (let f = 0, o = 0, v = 0; f < n; f++) for (let k = 0; k < 3; k++, o += 6, v += 4) {
      const i = this.corners[3 * f + k];
      u16[o] = this.x[0][i]; u16[o + 1] = this.x[1][i]; u16[o + 2] = this.x[2][i];
      u16[o + 4] = this.normals[0][f]; u16[o + 5] = this.normals[1][f];
      this.values[v] = this.thick[f]; this.values[v + 1] = this.level[f]; this.values[v + 2] = this.kind[f];
    }
    this.solidVao = gl.createVertexArray();
    gl.bindVertexArray(this.solidVao);
    this.buffer(bytes);
    this.attribute(this.solid, 'at', 3, gl.UNSIGNED_SHORT, 12, 0);
    this.attribute(this.solid, 'facing', 2, gl.UNSIGNED_SHORT, 12, 8);
    this.valueBuffer = this.buffer(this.values);
    this.attribute(this.solid, 'value', 4, gl.UNSIGNED_BYTE, 4, 0);

    const e = new Uint16Array(4 * this.edges.length);
    this.edges.forEach((i, o) => { for (let k = 0; k < 3; k++) e[4 * o + k] = this.x[k][i]; });
    this.edgeVao = this.lines(e, gl.UNSIGNED_SHORT, 8);
    const m = this.machine();
    this.gridCount = m.grid.length / 3;
    this.volumeCount = m.volume.length / 3;
    this.gridVao = this.lines(new Float32Array(m.grid), gl.FLOAT, 12);
    this.volumeVao = this.lines(new Float32Array(m.volume), gl.FLOAT, 12);
    const c = this.curtains();
    this.curtainCount = c.length / 3;
    this.curtainVao = this.lines(new Float32Array(c), gl.FLOAT, 12);
    this.scaleTexture();
    gl.bindVertexArray(null);
  }

  buffer(data) {
    const gl = this.gl, b = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, b);
    gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
    return b;
  }

  attribute(prog, name, count, type, stride, offset) {
    const at = prog.of(name);
    this.gl.enableVertexAttribArray(at);
    this.gl.vertexAttribPointer(at, count, type, true, stride, offset);
  }

  lines(data, type, stride) {
    const gl = this.gl, vao = gl.createVertexArray();
    gl.bindVertexArray(vao);
    this.buffer(data);
    this.attribute(this.line, 'at', 3, type, stride, 0);
    return vao;
  }

  scaleTexture() {
    const gl = this.gl, n = 512, px = new Uint8Array(4 * n), stops = this.s.scale;
    for (let i = 0; i < n; i++) {
      const share = 2 * (i + .5) / n;
      let k = stops.length - 2;
      while (k > 0 && share < stops[k].at) k--;
      const a = stops[k], b = stops[k + 1], t = Math.min(1, (share - a.at) / (b.at - a.at));
      const ca = rgb(a.color), cb = rgb(b.color);
      for (let c = 0; c < 3; c++) px[4 * i + c] = Math.round(255 * (ca[c] + t * (cb[c] - ca[c])));
      px[4 * i + 3] = 255;
    }
    this.scaleMap = gl.createTexture();
    gl.bindTexture(gl.TEXTURE_2D, this.scaleMap);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, n, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, px);
    for (const [k, v] of [[gl.TEXTURE_MIN_FILTER, gl.NEAREST], [gl.TEXTURE_MAG_FILTER, gl.NEAREST], [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE]]) gl.texParameteri(gl.TEXTURE_2D, k, v);
  }

  // machine makes the lines of the platform and of the build volume, the part
  // in the middle. Without a machine the platform is as large as it must be.
  machine() {
    const {size, build} = this.s, cx = size[0] / 2, cy = size[1] / 2;
    const round = build && build.diameter > 0;
    const wx = (build ? round ? build.diameter : build.x : 1.5 * size[0]) / 2, wy = (build ? round ? build.diameter : build.y : 1.5 * size[1]) / 2;
    const most = Math.max(wx, wy), gap = [1, 2, 5, 10, 20, 50, 100].find(g => 2 * most / g <= 30) || 200;
    const grid = [], volume = [];
    const seg = (list, a, b) => list.push(...a, ...b);
    for (let k = -Math.floor(wx / gap); k * gap <= wx; k++) {
      const h = round ? Math.sqrt(Math.max(0, wx * wx - k * k * gap * gap)) : wy;
      seg(grid, [cx + k * gap, cy - h, 0], [cx + k * gap, cy + h, 0]);
    }
    for (let k = -Math.floor(wy / gap); k * gap <= wy; k++) {
      const h = round ? Math.sqrt(Math.max(0, wy * wy - k * k * gap * gap)) : wx;
      seg(grid, [cx - h, cy + k * gap, 0], [cx + h, cy + k * gap, 0]);
    }
    const ring = round ? Array.from({length: 72}, (_, i) => [cx + wx * Math.cos(i * Math.PI / 36), cy + wx * Math.sin(i * Math.PI / 36)])
      : [[cx - wx, cy - wy], [cx + wx, cy - wy], [cx + wx, cy + wy], [cx - wx, cy + wy]];
    ring.forEach((p, i) => {
      const q = ring[(i + 1) % ring.length];
      seg(volume, [...p, 0], [...q, 0]);
      if (!build) return;
      seg(volume, [...p, build.z], [...q, build.z]);
      if (!round || i % 18 === 0) seg(volume, [...p, 0], [...p, build.z]);
    });
    this.platform = {wx, wy, z: build ? build.z : 0};
    return {grid, volume};
  }

  // curtains hang from the border of what needs support down to the first
  // surface below.
  curtains() {
    const open = new Map(), out = [], s = this.s;
    for (let f = 0; f < s.facets; f++) if (this.kind[f] === 2) for (let k = 0; k < 3; k++) {
      const a = this.corners[3 * f + k], b = this.corners[3 * f + (k + 1) % 3], key = Math.min(a, b) * s.verts + Math.max(a, b);
      if (open.has(key)) open.delete(key);
      else open.set(key, [a, b, f]);
    }
    for (const [a, b, f] of open.values()) {
      const p = this.corner(a), q = this.corner(b), z = this.floor[f] / 65535 * (s.size[2] + s.lift);
      p[2] += s.lift; q[2] += s.lift;
      const p0 = [p[0], p[1], Math.min(z, p[2])], q0 = [q[0], q[1], Math.min(z, q[2])];
      out.push(...p, ...p0, ...q, ...q, ...p0, ...q0);
    }
    return out;
  }

  // The camera: a turntable with parallel projection, so that lengths are true.
  home(still) {
    const s = this.s, half = .56 * Math.hypot(...s.size);
    this.fly({look: [s.size[0] / 2, s.size[1] / 2, s.size[2] / 2], half, from: s.corner}, still !== false);
  }

  get eye() {
    const {yaw, pitch} = this.cam, c = Math.cos(pitch);
    const back = [c * Math.cos(yaw), c * Math.sin(yaw), Math.sin(pitch)], right = [-Math.sin(yaw), Math.cos(yaw), 0];
    return {back, right, up: cross(back, right)};
  }

  fly(to, still) {
    const target = {look: to.look, half: to.half, yaw: Math.atan2(to.from[1], to.from[0]), pitch: Math.asin(Math.max(-1, Math.min(1, to.from[2])))};
    if (Math.hypot(to.from[0], to.from[1]) < 1e-6) target.yaw = -Math.PI / 2; // straight down: x to the right
    const from = this.cam;
    if (still || !from || matchMedia('(prefers-reduced-motion: reduce)').matches) {
      this.cam = target;
      this.flight = null;
      return this.ask();
    }
    target.yaw = from.yaw + Math.atan2(Math.sin(target.yaw - from.yaw), Math.cos(target.yaw - from.yaw));
    this.flight = {from, to: target, start: performance.now()};
    this.ask();
  }

  advance(now) {
    if (!this.flight) return;
    const {from, to, start} = this.flight, u = Math.min(1, (now - start) / 480), t = u * u * (3 - 2 * u);
    const mix = (a, b) => a + (b - a) * t;
    this.cam = {yaw: mix(from.yaw, to.yaw), pitch: mix(from.pitch, to.pitch), look: from.look.map((v, k) => mix(v, to.look[k])), half: Math.exp(mix(Math.log(from.half), Math.log(to.half)))};
    if (u >= 1) { this.flight = null; this.cam = to; }
    else this.ask();
  }

  ask() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(now => { this.asked = false; this.advance(now); this.draw(); });
  }

  // project gives the place of a point of the part in the picture, in pixels of the page.
  project(p) {
    const {right, up} = this.eye, d = sub(along(p, this.s.lift, [0, 0, 1]), this.lookUp), k = Math.min(this.w, this.h) / (2 * this.cam.half);
    return [this.w / 2 + k * dot(d, right), this.h / 2 - k * dot(d, up)];
  }

  get lookUp() { return along(this.cam.look, this.s.lift, [0, 0, 1]); }

  resize() {
    const box = this.canvas.getBoundingClientRect(), ratio = Math.min(2, devicePixelRatio || 1);
    this.w = Math.max(1, box.width);
    this.h = Math.max(1, box.height);
    this.ratio = ratio;
    this.canvas.width = Math.round(this.w * ratio);
    this.canvas.height = Math.round(this.h * ratio);
    this.ask();
  }

  matrix() {
    const {right, up, back} = this.eye, c = this.lookUp, k = Math.min(this.w, this.h) / (2 * this.cam.half);
    const sx = 2 * k / this.w, sy = 2 * k / this.h, p = this.platform, far = 2 * Math.hypot(...this.s.size, 2 * p.wx, 2 * p.wy, p.z, this.s.lift), sz = -1 / far;
    const row = (v, s) => [s * v[0], s * v[1], s * v[2], -s * dot(v, c)];
    const [a, b, d] = [row(right, sx), row(up, sy), row(back, sz)];
    return new Float32Array([a[0], b[0], d[0], 0, a[1], b[1], d[1], 0, a[2], b[2], d[2], 0, a[3], b[3], d[3], 1]);
  }

  // cut is the plane that takes away what lies beyond it.
  get cut() {
    if (this.cutPlane) return [...this.cutPlane.normal, this.cutPlane.at];
    if (this.cutHeight !== null) return [0, 0, 1, this.cutHeight + this.s.lift];
    return [0, 0, 0, 1];
  }

  draw() {
    const gl = this.gl, {right, up, back} = this.eye, s = this.s, camera = this.matrix(), cut = this.cut;
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT | gl.STENCIL_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const ink = getComputedStyle(this.canvas).color.match(/[\d.]+/g).slice(0, 3).map(v => v / 255);
    if (this.showMachine) {
      this.strokes(this.gridVao, gl.LINES, this.gridCount, camera, [1, 1, 1], 0, [0, 0, 0, 1], [...ink, .13]);
      this.strokes(this.volumeVao, gl.LINES, this.volumeCount, camera, [1, 1, 1], 0, [0, 0, 0, 1], [...ink, .5]);
    }
    gl.enable(gl.POLYGON_OFFSET_FILL);
    gl.polygonOffset(1, 1);
    const q = this.solid, u = q.at;
    gl.useProgram(q.p);
    gl.uniformMatrix4fv(u.camera, false, camera);
    gl.uniform3fv(u.size, s.size);
    gl.uniform1f(u.lift, s.lift);
    gl.uniform3fv(u.right, right); gl.uniform3fv(u.up, up); gl.uniform3fv(u.back, back);
    gl.uniform3fv(u.stone, rgb(s.colors.stone)); gl.uniform3fv(u.cutColor, rgb(s.colors.cut));
    gl.uniform3fv(u.levels, s.colors.levels.flatMap(rgb)); gl.uniform3fv(u.supports, s.colors.support.flatMap(rgb));
    gl.uniform4fv(u.cut, cut);
    gl.uniform1i(u.mode, this.mode);
    gl.uniform1i(u.some, this.number && this.facetsOf.get(this.number)?.length ? 1 : 0);
    gl.uniform1f(u.angle, s.angle); gl.uniform1f(u.wallCap, s.wall_cap); gl.uniform1f(u.wall, s.wall || 1);
    gl.uniform1f(u.pixel, this.ratio);
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, this.scaleMap);
    gl.uniform1i(u.scale, 0);
    gl.bindVertexArray(this.solidVao);
    gl.drawArrays(gl.TRIANGLES, 0, 3 * s.facets);
    if (this.cutPlane || this.cutHeight !== null) this.cap();
    gl.disable(gl.POLYGON_OFFSET_FILL);
    if (this.showEdges) this.strokes(this.edgeVao, gl.LINES, this.edges.length, camera, s.size, s.lift, cut, [.1, .12, .14, .75]);
    gl.disable(gl.STENCIL_TEST);
    if (this.mode === 3) this.strokes(this.curtainVao, gl.TRIANGLES, this.curtainCount, camera, [1, 1, 1], 0, cut, [...rgb(s.colors.support[1]), .3]);
    gl.bindVertexArray(null);
    this.onDraw();
  }

  // cap marks where cut material is seen, so that no edge behind shines through.
  cap() {
    const gl = this.gl;
    gl.enable(gl.STENCIL_TEST);
    gl.stencilFunc(gl.ALWAYS, 1, 1);
    gl.stencilOp(gl.KEEP, gl.KEEP, gl.REPLACE);
    gl.depthFunc(gl.EQUAL);
    gl.colorMask(false, false, false, false);
    gl.enable(gl.CULL_FACE);
    gl.cullFace(gl.FRONT);
    gl.drawArrays(gl.TRIANGLES, 0, 3 * this.s.facets);
    gl.disable(gl.CULL_FACE);
    gl.colorMask(true, true, true, true);
    gl.depthFunc(gl.LESS);
    gl.stencilOp(gl.KEEP, gl.KEEP, gl.KEEP);
    gl.stencilFunc(gl.EQUAL, 0, 1);
  }

  strokes(vao, what, count, camera, size, lift, cut, ink) {
    const gl = this.gl, u = this.line.at;
    if (!count) return;
    gl.useProgram(this.line.p);
    gl.uniformMatrix4fv(u.camera, false, camera);
    gl.uniform3fv(u.size, size);
    gl.uniform1f(u.lift, lift);
    gl.uniform4fv(u.cut, cut);
    gl.uniform4fv(u.ink, ink);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(false);
    gl.bindVertexArray(vao);
    gl.drawArrays(what, 0, count);
    gl.depthMask(true);
    gl.disable(gl.BLEND);
  }

  // mark keeps the chosen finding's facets for the shader.
  mark(number) {
    for (let i = 3; i < this.values.length; i += 4) this.values[i] = 0;
    for (const f of this.facetsOf.get(number) || []) for (let k = 0; k < 3; k++) this.values[4 * (3 * f + k) + 3] = 255;
    const level = this.placed.get(number)?.level;
    for (let f = 0, v = 1; f < this.s.facets; f++) for (let k = 0; k < 3; k++, v += 4) this.values[v] = this.values[v + 2] ? level : this.level[f];
    const gl = this.gl;
    gl.bindBuffer(gl.ARRAY_BUFFER, this.valueBuffer);
    gl.bufferSubData(gl.ARRAY_BUFFER, 0, this.values);
  }

  cutAt(p) { // square to the view
    const n = this.flight ? this.flight.to : this.cam, c = Math.cos(n.pitch);
    const normal = [c * Math.cos(n.yaw), c * Math.sin(n.yaw), Math.sin(n.pitch)];
    this.cutPlane = {normal, at: dot(along(p, this.s.lift, [0, 0, 1]), normal)};
    this.cutHeight = null;
  }

  // pick finds the facet under a pixel of the page, with the place on it.
  pick(px, py) {
    const {right, up, back} = this.eye, k = Math.min(this.w, this.h) / (2 * this.cam.half), cut = this.cut;
    const o = along(along(this.cam.look, (px - this.w / 2) / k, right), -(py - this.h / 2) / k, up), x = this.x, size = this.s.size;
    let best = null;
    for (let f = 0; f < this.s.facets; f++) {
      const c = [0, 1, 2].map(j => { const i = this.corners[3 * f + j]; return [x[0][i] / 65535 * size[0] - o[0], x[1][i] / 65535 * size[1] - o[1], x[2][i] / 65535 * size[2] - o[2]]; });
      const u = c.map(p => dot(p, right)), v = c.map(p => dot(p, up));
      const area = (u[1] - u[0]) * (v[2] - v[0]) - (u[2] - u[0]) * (v[1] - v[0]);
      if (!(area > 0)) continue; // seen from inside
      const a = (u[1] * v[2] - u[2] * v[1]) / area, b = (u[2] * v[0] - u[0] * v[2]) / area, g = 1 - a - b;
      if (a < 0 || b < 0 || g < 0) continue;
      const depth = a * dot(c[0], back) + b * dot(c[1], back) + g * dot(c[2], back), at = along(o, depth, back);
      if (dot(along(at, this.s.lift, [0, 0, 1]), cut) > cut[3]) continue;
      if (!best || depth > best.depth) best = {f, depth, at};
    }
    return best;
  }

  // inMesh gives a place in the coordinates and the unit of the mesh file.
  inMesh(p) {
    const q = [0, 1, 2].map(k => p[k] + this.s.origin[k]), a = this.s.axes;
    return [0, 1, 2].map(k => (a[0][k] * q[0] + a[1][k] * q[1] + a[2][k] * q[2]) / (this.s.unit || 1));
  }

  normal(f) {
    const o = [this.normals[0][f], this.normals[1][f]].map(v => v / 65535 * 2 - 1), n = [o[0], o[1], 1 - Math.abs(o[0]) - Math.abs(o[1])];
    if (n[2] < 0) [n[0], n[1]] = [(1 - Math.abs(n[1])) * (n[0] < 0 ? -1 : 1), (1 - Math.abs(n[0])) * (n[1] < 0 ? -1 : 1)];
    const l = Math.hypot(...n);
    return n.map(v => v / l);
  }
}

// Bench joins the drawing with everything around it.
class Bench {
  constructor(part) {
    this.p = part;
    this.place = 0;
    this.marks = $('#marks');
    this.pins();
    this.tools();
    this.pointer();
    part.onDraw = () => this.overlay();
    new ResizeObserver(() => part.resize()).observe(part.canvas);
    part.resize();
    redraw = () => part.ask();
    dark.addEventListener('change', redraw);
  }

  pins() {
    this.pin = new Map();
    for (const f of this.p.s.findings) {
      const item = $('#f' + f.n), b = document.createElement('button');
      b.type = 'button';
      b.tabIndex = -1;
      b.className = 'mark ' + (f.hidden ? 'inside ' : '') + [...item.classList].find(c => c.startsWith('lv-'));
      b.textContent = f.n;
      b.onclick = () => chooseInView(item);
      this.marks.prepend(b); // the gravest lie on top
      this.pin.set(f.n, b);
    }
  }

  tools() {
    const p = this.p;
    for (const r of $$('input[name=mode]')) r.onchange = () => {
      p.mode = ['finding', 'inclination', 'wall', 'support'].indexOf(r.value);
      for (const l of $$('.legend')) l.hidden = l.dataset.mode !== r.value;
      p.ask();
    };
    for (const b of $$('[data-view]')) b.onclick = () => this.look(b.dataset.view);
    const toggle = (id, set) => { const c = $(id); c.onchange = () => { set(c.checked); p.ask(); }; set(c.checked); };
    toggle('#edges', v => { p.showEdges = v; });
    toggle('#volume', v => { p.showMachine = v; });
    toggle('#pins', v => { this.showPins = v; });
    $('#open').onchange = e => this.open(e.target.checked);
    const cut = $('#cut');
    cut.oninput = () => {
      const h = cut.value / 1000 * p.s.size[2];
      p.cutPlane = null;
      $('#open').checked = false;
      p.cutHeight = +cut.value >= 1000 ? null : h;
      this.section(h);
      p.ask();
    };
    this.sectionWords = $('#section').textContent;
  }

  // section says what the cut at a height is like.
  section(h) {
    const c = this.p.s.sections, out = $('#section');
    if (this.p.cutHeight === null) { out.textContent = this.sectionWords; return; }
    let text = `Cut ${say(h + this.p.s.lift)} mm above the platform`;
    if (c) {
      let k = 0;
      c.z.forEach((z, i) => { if (Math.abs(z - h) < Math.abs(c.z[k] - h)) k = i; });
      text += `: section ${say(c.area[k], 1)} mm2 in ${c.islands[k]} ${c.islands[k] === 1 ? 'island' : 'islands'}`;
    }
    out.textContent = text + '.';
    $('#cut').setAttribute('aria-valuetext', text);
  }

  open(on) {
    const p = this.p, f = p.placed.get(p.number);
    $('#open').checked = on;
    if (on) {
      p.cutAt(f ? f.places[this.place] || f.at : p.cam.look);
      $('#cut').value = 1000;
      this.section(0);
    } else p.cutPlane = null;
    p.ask();
  }

  look(name) {
    const s = this.p.s, from = {corner: s.corner, front: [0, -1, 0], right: [1, 0, 0], top: [0, 0, 1], below: [0, 0, -1]}[name];
    this.p.fly({look: s.size.map(v => v / 2), half: .56 * Math.hypot(...s.size), from});
  }

  // choose flies to a finding, or home.
  choose(number, still) {
    const p = this.p, f = p.placed.get(number);
    this.place = 0;
    p.number = number;
    p.mark(number);
    for (const d of $$('.dot,.ring', this.marks)) d.remove();
    this.dots = [];
    this.ring = null;
    p.cutPlane = null;
    $('#open').checked = false;
    for (const [n, b] of this.pin) b.classList.toggle('on', n === number);
    if (!f) { p.ask(); return; }
    const level = [...this.pin.get(number).classList].find(c => c.startsWith('lv-'));
    const add = cls => { const d = document.createElement('span'); d.className = cls + ' ' + level; this.marks.append(d); return d; };
    this.dots = f.places.slice(1).map(at => ({at, el: add('dot')}));
    if (f.ball > 0) this.ring = {at: f.at, mm: f.ball, el: add('ring')};
    p.fly({look: f.look, half: f.half, from: f.from}, still);
    if (f.hidden) this.open(true);
  }

  // stepPlace flies to the next of a finding's like places.
  stepPlace(by, out) {
    const p = this.p, f = p.placed.get(p.number);
    if (!f) return;
    this.place = (this.place + by + f.places.length) % f.places.length;
    const {back} = p.eye;
    p.fly({look: f.places[this.place], half: f.half, from: back});
    if (p.cutPlane) this.open(true);
    out.textContent = `${this.place + 1} of ${f.places.length}`;
  }

  key(e) {
    const p = this.p, c = p.cam, onCanvas = e.target === p.canvas, turn = Math.PI / 24;
    const views = {0: 'corner', 1: 'front', 2: 'right', 3: 'top', 4: 'below'};
    if (views[e.key] && e.target.type !== 'range') { this.look(views[e.key]); return true; }
    if (e.key === 'c') { this.open(!p.cutPlane); return true; }
    if (e.key === '+' || e.key === '=') { c.half /= 1.15; p.ask(); return true; }
    if (e.key === '-') { c.half *= 1.15; p.ask(); return true; }
    const by = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1]}[e.key];
    if (!by || !onCanvas) return false;
    p.flight = null;
    if (e.shiftKey) this.pan(-20 * by[0], 20 * by[1]);
    else this.turn(by[0] * turn, by[1] * turn);
    return true;
  }

  turn(yaw, pitch) {
    const c = this.p.cam;
    this.p.cam = {...c, yaw: c.yaw - yaw, pitch: Math.max(-Math.PI / 2, Math.min(Math.PI / 2, c.pitch + pitch))};
    this.p.ask();
  }

  pan(dx, dy) {
    const p = this.p, {right, up} = p.eye, k = 2 * p.cam.half / Math.min(p.w, p.h);
    p.cam = {...p.cam, look: along(along(p.cam.look, -dx * k, right), dy * k, up)};
    p.ask();
  }

  // zoom keeps the point under the pointer where it is.
  zoom(by, x, y) {
    const p = this.p, most = 4 * Math.hypot(...p.s.size, p.platform.wx);
    const half = Math.max(.02, Math.min(most, p.cam.half * by)), grow = half / p.cam.half, dx = x - p.w / 2, dy = y - p.h / 2;
    this.pan(dx * (grow - 1), dy * (grow - 1));
    p.cam = {...p.cam, half};
  }

  pointer() {
    const p = this.p, el = p.canvas, down = new Map();
    let moved = 0;
    el.oncontextmenu = e => e.preventDefault();
    el.onpointerdown = e => { el.setPointerCapture(e.pointerId); down.set(e.pointerId, [e.offsetX, e.offsetY]); moved = 0; p.flight = null; };
    el.onpointermove = e => {
      const last = down.get(e.pointerId);
      if (!last) return;
      const dx = e.offsetX - last[0], dy = e.offsetY - last[1];
      moved += Math.abs(dx) + Math.abs(dy);
      if (down.size === 2) {
        const other = [...down].find(([id]) => id !== e.pointerId)[1];
        const was = Math.hypot(last[0] - other[0], last[1] - other[1]), is = Math.hypot(e.offsetX - other[0], e.offsetY - other[1]);
        if (was > 0 && is > 0) this.zoom(was / is, (e.offsetX + other[0]) / 2, (e.offsetY + other[1]) / 2);
        this.pan(dx / 2, dy / 2);
      } else if (e.shiftKey || e.buttons & 6) this.pan(dx, dy);
      else this.turn(dx * .008, dy * .008);
      down.set(e.pointerId, [e.offsetX, e.offsetY]);
    };
    el.onpointerup = e => { down.delete(e.pointerId); if (moved < 4) this.probe(e.offsetX, e.offsetY); };
    el.onpointercancel = e => down.delete(e.pointerId);
    el.addEventListener('wheel', e => { e.preventDefault(); p.flight = null; this.zoom(Math.exp(Math.max(-1, Math.min(1, e.deltaY / 400))), e.offsetX, e.offsetY); }, {passive: false});
    el.ondblclick = e => { const hit = p.pick(e.offsetX, e.offsetY); if (hit) p.fly({look: hit.at, half: p.cam.half / 2, from: p.eye.back}); };
    el.addEventListener('webglcontextlost', e => { e.preventDefault(); flat(); });
  }

  // probe says what is under the pointer, in the words of a spec.
  probe(x, y) {
    const p = this.p, s = p.s, hit = p.pick(x, y), out = $('#readout');
    if (!hit) { out.textContent = ''; return; }
    const n = p.normal(hit.f), tilt = Math.acos(Math.min(1, Math.abs(n[2]))) * 180 / Math.PI;
    const lines = [`at [${p.inMesh(hit.at).map(v => say(v)).join(', ')}] ${s.unit_name}`, `${n[2] < -1e-4 ? 'downskin' : n[2] > 1e-4 ? 'upskin' : 'wall'}, ${say(tilt, 1)} deg from the horizontal`];
    if (s.wall_cap > 0) lines.push(p.thick[hit.f] < 255 ? `least wall behind this facet about ${say(p.thick[hit.f] / 255 * s.wall_cap)} mm` : `walls behind this facet ${say(s.wall_cap)} mm or more`);
    out.textContent = lines.join('\n');
    if (p.findingAt[hit.f]) chooseInView($('#f' + p.findingAt[hit.f]));
  }

  // overlay keeps pins, ruler and axes with the picture.
  overlay() {
    const p = this.p, k = Math.min(p.w, p.h) / (2 * p.cam.half);
    const put = (el, at, on) => { const [x, y] = p.project(at); el.style.transform = `translate(${x.toFixed(1)}px,${y.toFixed(1)}px)`; el.style.display = on && x > -20 && y > -20 && x < p.w + 20 && y < p.h + 20 ? '' : 'none'; };
    for (const [n, el] of this.pin) put(el, n === p.number ? p.placed.get(n).places[this.place] || p.placed.get(n).at : p.placed.get(n).at, this.showPins);
    for (const d of this.dots || []) put(d.el, d.at, this.showPins);
    if (this.ring) {
      put(this.ring.el, this.ring.at, true);
      const d = this.ring.mm * k;
      Object.assign(this.ring.el.style, {width: d + 'px', height: d + 'px', marginLeft: -d / 2 + 'px', marginTop: -d / 2 + 'px'});
    }
    const most = p.w / 5 / k, ten = 10 ** Math.floor(Math.log10(most)), length = [5, 2, 1].map(v => v * ten).find(v => v <= most);
    $('#ruler-bar').style.width = length * k + 'px';
    $('#ruler-text').textContent = say(length, 4) + ' mm';
    const {right, up, back} = p.eye, g = $('#triad');
    if (!g.childNodes.length) for (const name of ['X', 'Y', 'Z']) {
      const l = document.createElementNS('http://www.w3.org/2000/svg', 'line'), t = document.createElementNS('http://www.w3.org/2000/svg', 'text');
      t.textContent = name;
      g.append(l, t);
    }
    [0, 1, 2].forEach(a => {
      const l = g.childNodes[2 * a], t = g.childNodes[2 * a + 1], x = 26 * right[a], y = -26 * up[a];
      l.setAttribute('x2', x); l.setAttribute('y2', y);
      t.setAttribute('x', x * 1.32); t.setAttribute('y', y * 1.32);
      l.style.opacity = t.style.opacity = back[a] < -.02 ? .55 : 1;
    });
    $('#view').classList.add('drawn');
  }
}

function flat(why) {
  root.classList.remove('live');
  root.classList.add('flat');
  view = null;
  if (why) console.info('No 3D: ' + why.message);
}

async function start() {
  const text = $('#scene');
  if (!text) return;
  try {
    if (typeof DecompressionStream === 'undefined') throw new Error('no DecompressionStream');
    const part = new Part($('#canvas'), JSON.parse(text.textContent), await unpack($('#pack').textContent));
    const bench = new Bench(part);
    view = {choose: (n, still) => bench.choose(n, still), stepPlace: (by, out) => bench.stepPlace(by, out), key: e => bench.key(e)};
    root.classList.add('live');
  } catch (e) { flat(e); }
}

start().then(() => {
  const item = /^#f\d+$/.test(location.hash) && $(location.hash);
  if (item) {
    scrollTo(0, 0); // the browser went to the item, past the view
    choose(item, {scroll: true, still: true});
  }
  root.dataset.ready = view ? 'live' : 'flat';
});
})();
