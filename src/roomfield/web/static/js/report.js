// The preview says that it is on its way until it is there.
const frame = document.getElementById("preview");
if (frame) {
  const done = () => {
    const pages = document.getElementById("pages");
    pages.removeAttribute("aria-busy");
    pages.querySelector(".loading")?.remove();
  };
  if (frame.contentDocument?.readyState === "complete" && frame.contentDocument.body?.childElementCount) done();
  frame.addEventListener("load", done);
}
