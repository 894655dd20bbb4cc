// A box whose answers come by htmx while typing: arrows walk them, Enter opens one, Esc shuts them. The answers are
// links or buttons with role="option"; without JavaScript, Enter sends the form and the answers are a page.
import { hook } from "./hook.js";

hook("[data-combobox]", (root) => {
  const box = root.querySelector('[role="combobox"]');
  const sheet = document.getElementById(box.getAttribute("aria-controls"));
  const options = () => [...sheet.querySelectorAll('[role="option"]')];
  let at = -1;

  const show = () => {
    const open = options().length > 0;
    sheet.hidden = false;
    box.setAttribute("aria-expanded", String(open));
    mark(-1);
  };
  const shut = () => {
    sheet.hidden = true;
    box.setAttribute("aria-expanded", "false");
    mark(-1);
  };
  const mark = (next) => {
    at = next;
    options().forEach((option, n) => {
      option.id ||= `${box.id}-option-${n}`;
      option.tabIndex = -1;
      option.setAttribute("aria-selected", String(n === at));
      if (n === at) {
        option.scrollIntoView({ block: "nearest" });
      }
    });
    const active = options()[at];
    if (active) {
      box.setAttribute("aria-activedescendant", active.id);
    } else {
      box.removeAttribute("aria-activedescendant");
    }
  };

  sheet.addEventListener("htmx:afterSettle", show);
  box.addEventListener("focus", () => options().length && box.value && show());
  box.addEventListener("input", () => box.value.trim() || shut());
  box.addEventListener("keydown", (event) => {
    const count = options().length;
    if ((event.key === "ArrowDown" || event.key === "ArrowUp") && count) {
      event.preventDefault();
      if (sheet.hidden) {
        show();
      }
      const step = event.key === "ArrowDown" ? 1 : -1;
      mark(at < 0 ? (step > 0 ? 0 : count - 1) : (at + step + count) % count);
    } else if (event.key === "Enter" && at >= 0 && !sheet.hidden) {
      event.preventDefault();
      options()[at].click();
    } else if (event.key === "Escape" && !sheet.hidden && count) {
      event.preventDefault();
      shut();
    }
  });
  // A link that is tapped must get its click before the sheet goes: so not on blur, but on a tap elsewhere.
  document.addEventListener("pointerdown", (event) => root.contains(event.target) || shut());
  root.addEventListener("focusout", (event) => event.relatedTarget && !root.contains(event.relatedTarget) && shut());
});
