"""Style and script of the interactive page: a small viewer of our own in WebGL 2, without any library."""

STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 1500px; padding: 1rem; background: PAPER; color: INK;
       font: 1rem/1.5 "DejaVu Sans", Verdana, sans-serif; overflow-wrap: break-word; }
h1 { font: 1.6rem/1.25 "DejaVu Serif", Georgia, serif; margin: 0 0 .3rem; }
h2 { font-size: 1.25rem; margin: 0; }
p { margin: .35rem 0; }
.faint { color: FAINT; font-size: .92rem; }
main { display: grid; gap: 1.5rem; grid-template-columns: repeat(auto-fit, minmax(min(100%, 28rem), 1fr)); }
section { min-width: 0; border-top: 1px solid RULE; padding-top: .8rem; }
.space { position: relative; height: min(62vh, 34rem, max(15rem, 100vw * var(--shape)));
         margin: .5rem 0; overflow: hidden; }
.printed { width: 560px; height: 380px; }
canvas { width: 100%; height: 100%; display: block; touch-action: none; cursor: grab; }
.paper { display: none; }
.printed canvas { position: absolute; visibility: hidden; }
.printed .paper { display: block; visibility: visible; }
canvas:focus-visible, button:focus-visible { outline: 3px solid #1F7F88; outline-offset: -3px; }
.label { position: absolute; z-index: 1; left: 0; top: 0; padding: 0 .3em; font-size: .8rem; white-space: nowrap;
         background: rgb(252 251 247 / .82); border-radius: .3em; pointer-events: none; }
.strong { font-weight: bold; }
.buttons { display: flex; flex-wrap: wrap; gap: .4rem; }
button { font: inherit; min-width: 2.75rem; min-height: 2.75rem; background: #FFF; color: INK;
         border: 1px solid FAINT; border-radius: .4rem; }
.discs { display: flex; flex-wrap: wrap; gap: .5rem 1.5rem; }
figure { margin: 0; text-align: center; flex: 1 1 9rem; max-width: 15rem; }
figure img { width: 100%; height: auto; }
figcaption { font-size: .88rem; }
.piece { white-space: nowrap; }
.missing { border: 2px solid #A03015; padding: .6rem; }
@media print {
  body { padding: 0; background: #FFF; }
  .buttons, .hint { display: none; }
  main { display: block; }
  section { break-inside: avoid; }
  figure { flex: 0 0 13rem; }
}
"""

SCRIPT = r"""
"use strict";
const VERTEX = `#version 300 es
in vec3 place; uniform vec3 right, up, eye, focus; uniform vec2 half_size; uniform float unit; out vec3 seen;
void main() {
  vec3 p = place * unit - focus;
  seen = vec3(dot(p, right), dot(p, up), dot(p, eye));
  gl_Position = vec4(seen.xy / half_size, -seen.z / 12.0, 1.0);
}`;
const FRAGMENT = `#version 300 es
precision highp float;
in vec3 seen; uniform vec4 colour; uniform bool shaded; out vec4 result;
void main() {
  float light = 1.0;
  if (shaded) {
    vec3 n = normalize(cross(dFdx(seen), dFdy(seen)));
    light = 0.5 + 0.5 * abs(n.z);
  }
  result = vec4(colour.rgb * light * colour.a, colour.a);
}`;

function bytes(text) {
  const raw = atob(text), out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out.buffer;
}

function compiled(gl) {
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.bindAttribLocation(program, 0, "place");
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
  return program;
}

function show(space, scene) {
  const canvas = space.querySelector("canvas");
  const gl = canvas.getContext("webgl2", {antialias: true});
  if (!gl) { space.parentNode.querySelector(".missing").hidden = false; space.hidden = true; return; }
  const program = compiled(gl), at = name => gl.getUniformLocation(program, name);
  const where = {};
  for (const name of ["right", "up", "eye", "focus", "half_size", "unit", "colour", "shaded"]) where[name] = at(name);
  const array = gl.createVertexArray();
  gl.bindVertexArray(array);
  gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ARRAY_BUFFER, bytes(scene.places), gl.STATIC_DRAW);
  gl.enableVertexAttribArray(0);
  gl.vertexAttribPointer(0, 3, gl.SHORT, false, 6, 0);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, bytes(scene.triangles), gl.STATIC_DRAW);
  const labels = scene.labels.map(label => {
    const element = document.createElement("div");
    element.className = label.strong ? "label strong" : "label";
    element.textContent = label.text;
    space.appendChild(element);
    return [element, label.place];
  });
  const start = {turn: scene.turn, tilt: scene.tilt, zoom: 1};
  let now = {...start}, waiting = false;

  function draw() {
    waiting = false;
    const wide = space.clientWidth, high = space.clientHeight, fine = window.devicePixelRatio || 1;
    if (!wide || !high) return;
    canvas.width = Math.round(wide * fine);
    canvas.height = Math.round(high * fine);
    const c = Math.cos(now.tilt), s = Math.sin(now.tilt), a = Math.cos(now.turn), b = Math.sin(now.turn);
    const eye = [c * a, c * b, s], right = [-b, a, 0], up = [-s * a, -s * b, c];
    const tall = Math.max(scene.half_height, scene.half_width * high / wide) / now.zoom;
    const half = [tall * wide / high, tall];
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(...scene.paper, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.useProgram(program);
    gl.bindVertexArray(array);
    gl.uniform3fv(where.eye, eye); gl.uniform3fv(where.right, right); gl.uniform3fv(where.up, up);
    gl.uniform3fv(where.focus, scene.focus); gl.uniform2fv(where.half_size, half);
    gl.uniform1f(where.unit, scene.unit);
    for (const clear of [false, true]) {
      if (clear) gl.enable(gl.BLEND); else gl.disable(gl.BLEND);
      gl.depthMask(!clear);
      for (const part of scene.parts) {
        if ((part.colour[3] < 1) !== clear) continue;
        gl.uniform4fv(where.colour, part.colour);
        gl.uniform1i(where.shaded, part.shaded ? 1 : 0);
        gl.drawElements(gl.TRIANGLES, part.count, gl.UNSIGNED_INT, 4 * part.first);
      }
    }
    gl.depthMask(true);
    const dot = (p, q) => p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
    for (const [element, place] of labels) {
      const p = place.map((value, i) => value - scene.focus[i]);
      const width = element.offsetWidth, height = element.offsetHeight;
      const x = (0.5 + dot(p, right) / (2 * half[0])) * wide - width / 2;
      const y = (0.5 - dot(p, up) / (2 * half[1])) * high - height / 2;
      const kept = Math.min(Math.max(x, 0), Math.max(0, wide - width));
      element.style.transform = `translate(${kept}px, ${Math.min(Math.max(y, 0), high - height)}px)`;
    }
    space.dataset.drawn = "yes";
  }

  function change(turn, tilt, zoom) {
    now.turn += turn;
    now.tilt = Math.min(Math.max(now.tilt + tilt, -1.5), 1.5);
    now.zoom = Math.min(Math.max(now.zoom * zoom, 0.5), 12);
    later();
  }
  function later() {
    if (!waiting) { waiting = true; requestAnimationFrame(draw); }
  }
  const fingers = new Map();
  canvas.addEventListener("pointerdown", event => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
  });
  canvas.addEventListener("pointermove", event => {
    const old = fingers.get(event.pointerId);
    if (!old) return;
    const fresh = [event.clientX, event.clientY];
    if (fingers.size === 1) change((old[0] - fresh[0]) * 0.008, (fresh[1] - old[1]) * 0.008, 1);
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
      const apart = point => Math.hypot(point[0] - other[0], point[1] - other[1]);
      change(0, 0, apart(fresh) / Math.max(apart(old), 1));
    }
    fingers.set(event.pointerId, fresh);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(name, event => fingers.delete(event.pointerId));
  }
  canvas.addEventListener("wheel", event => {
    event.preventDefault();
    change(0, 0, Math.exp(-event.deltaY * 0.0015));
  }, {passive: false});
  const moves = {ArrowLeft: [-0.1, 0, 1], ArrowRight: [0.1, 0, 1], ArrowUp: [0, 0.1, 1], ArrowDown: [0, -0.1, 1],
                 "+": [0, 0, 1.2], "-": [0, 0, 1 / 1.2]};
  canvas.addEventListener("keydown", event => {
    if (moves[event.key]) { event.preventDefault(); change(...moves[event.key]); }
  });
  for (const button of space.parentNode.querySelectorAll("button")) {
    button.addEventListener("click", () => {
      const move = moves[button.dataset.key];
      if (move) change(...move); else { now = {...start}; later(); }
    });
  }
  // On paper stands a copy of fixed size: a browser does not print what WebGL draws at the last moment.
  const paper = document.createElement("canvas");
  paper.className = "paper";
  space.appendChild(paper);
  addEventListener("beforeprint", () => {
    space.classList.add("printed");
    draw();
    paper.width = canvas.width;
    paper.height = canvas.height;
    paper.getContext("2d").drawImage(canvas, 0, 0);
  });
  addEventListener("afterprint", () => { space.classList.remove("printed"); later(); });
  new ResizeObserver(later).observe(space);
  draw();
}

const scenes = JSON.parse(document.getElementById("scenes").textContent);
document.querySelectorAll(".space").forEach((space, i) => show(space, scenes[i]));
"""
