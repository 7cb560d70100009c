// Looks into the picture: pinch, wheel, drag, keys and buttons move the drawing's own view box.

const scene = document.getElementById("scene");
if (scene) {
  const whole = { x: 0, y: 0, w: +scene.dataset.width, h: +scene.dataset.height };
  const [fx, fy, fw, fh] = scene.dataset.focus.split(" ").map(Number);
  let view = { x: fx, y: fy, w: fw, h: fh };
  const fingers = new Map();

  function show() {
    const most = 40;
    view.w = Math.min(whole.w, Math.max(whole.w / most, view.w));
    view.h = view.w * whole.h / whole.w;
    view.x = Math.min(whole.w - view.w, Math.max(0, view.x));
    view.y = Math.min(whole.h - view.h, Math.max(0, view.y));
    scene.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
    scene.classList.toggle("zoomed", view.w < whole.w * 0.999);
    const radius = 5 * Math.max(0.25, Math.min(2.4, view.w / 1600));
    for (const dot of scene.querySelectorAll(".o-crest")) dot.setAttribute("r", radius);
  }

  function place(clientX, clientY) {
    const box = scene.getBoundingClientRect();
    const k = Math.min(box.width / view.w, box.height / view.h);
    const left = box.left + (box.width - k * view.w) / 2, top = box.top + (box.height - k * view.h) / 2;
    return { x: view.x + (clientX - left) / k, y: view.y + (clientY - top) / k, k };
  }

  function zoom(factor, clientX, clientY) {
    const box = scene.getBoundingClientRect();
    const p = place(clientX ?? box.left + box.width / 2, clientY ?? box.top + box.height / 2);
    const w = Math.min(whole.w, Math.max(whole.w / 40, view.w / factor));
    const k = w / view.w;
    view = { x: p.x - (p.x - view.x) * k, y: p.y - (p.y - view.y) * k, w, h: view.h * k };
    show();
  }

  scene.addEventListener("wheel", (e) => {
    e.preventDefault();
    zoom(e.deltaY < 0 ? 1.25 : 0.8, e.clientX, e.clientY);
  }, { passive: false });

  scene.addEventListener("pointerdown", (e) => {
    fingers.set(e.pointerId, e);
    if (fingers.size === 2 || view.w < whole.w) scene.setPointerCapture(e.pointerId);
  });
  scene.addEventListener("pointermove", (e) => {
    const before = fingers.get(e.pointerId);
    if (!before) return;
    const k = place(0, 0).k;
    if (fingers.size === 1) {
      view.x -= (e.clientX - before.clientX) / k;
      view.y -= (e.clientY - before.clientY) / k;
      show();
    } else if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== e.pointerId)[1];
      const span = (p) => Math.hypot(p.clientX - other.clientX, p.clientY - other.clientY);
      zoom(span(e) / Math.max(1, span(before)), (e.clientX + other.clientX) / 2, (e.clientY + other.clientY) / 2);
    }
    fingers.set(e.pointerId, e);
  });
  for (const kind of ["pointerup", "pointercancel", "pointerleave"]) {
    scene.addEventListener(kind, (e) => fingers.delete(e.pointerId));
  }
  // Two fingers on the picture zoom it and not the page.
  scene.addEventListener("touchmove", (e) => { if (e.touches.length > 1) e.preventDefault(); }, { passive: false });

  scene.addEventListener("keydown", (e) => {
    const step = view.w / 8;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (moves[e.key] && view.w < whole.w) { view.x += moves[e.key][0]; view.y += moves[e.key][1]; show(); }
    else if (e.key === "+" || e.key === "=") zoom(1.5);
    else if (e.key === "-") zoom(1 / 1.5);
    else if (e.key === "0") { view = { ...whole }; show(); }
    else return;
    e.preventDefault();
  });
  const on = (id, act) => document.getElementById(id)?.addEventListener("click", act);
  on("closer", () => zoom(1.6));
  on("farther", () => zoom(1 / 1.6));
  on("fit", () => { view = { ...whole }; show(); });
  on("bare", (e) => {
    const bare = document.getElementById("drawn").toggleAttribute("hidden");
    e.target.setAttribute("aria-pressed", bare);
  });
  on("to-thread", (e) => {
    const [[x0, y0], [x1, y1]] = JSON.parse(e.target.dataset.axis);
    const w = Math.min(whole.w, 2.2 * Math.max(Math.hypot(x1 - x0, y1 - y0), 60));
    view = { x: (x0 + x1 - w) / 2, y: (y0 + y1 - w * whole.h / whole.w) / 2, w, h: 0 };
    show();
  });
  show();
}
