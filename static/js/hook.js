// Run `act` once on each element that matches, now and whenever htmx brings more.
export function hook(selector, act) {
  const done = new WeakSet();
  const look = (root) => {
    const found = root.matches?.(selector) ? [root] : [];
    for (const element of [...found, ...root.querySelectorAll(selector)]) {
      if (!done.has(element)) {
        done.add(element);
        act(element);
      }
    }
  };
  look(document);
  document.addEventListener("htmx:load", (event) => look(event.detail.elt));
}
