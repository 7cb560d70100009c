// A reference of one size only has none to type: its field goes, and is not sent.

for (const choice of document.querySelectorAll("fieldset.reference select[name=source]")) {
  const place = choice.closest("fieldset");
  const size = place.querySelector("input[name=size]");
  const show = () => {
    const what = choice.selectedOptions[0].dataset.size;
    size.disabled = !what;
    for (const part of place.querySelectorAll(".sizing")) part.hidden = !what;
    if (what) place.querySelector("label[for=" + size.id + "]").textContent = what;
  };
  choice.addEventListener("change", show);
  window.addEventListener("pageshow", show);
  show();
}
