// Makes this screen the light panel, and remembers how large its bar came out.

const at = (id) => document.getElementById(id);
const KEY = "pitchcam-bar";
const field = document.getElementById("p-bar");
let lock = null;

function kept() {
  try { return localStorage.getItem(KEY); } catch { return null; }
}
if (kept()) {
  field.value = kept();
  at("kept").textContent = `The bar of this screen, as kept: ${kept()}`;
}
field.form.addEventListener("submit", () => {
  try { localStorage.setItem(KEY, field.value); } catch { /* the server keeps it too */ }
});
at("light").addEventListener("click", async () => {
  at("panel").hidden = false;
  at("dark").focus();
  try { await at("panel").requestFullscreen(); } catch { /* the window has to do */ }
  try { lock = await navigator.wakeLock.request("screen"); } catch { /* the screen may dim */ }
});
async function end() {
  at("panel").hidden = true;
  if (document.fullscreenElement) await document.exitFullscreen();
  await lock?.release();
  at("light").focus();
}
at("dark").addEventListener("click", end);
document.addEventListener("keydown", (e) => { if (e.key === "Escape" && !at("panel").hidden) end(); });
