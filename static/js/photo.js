// Photos from the camera: shown at once, sent one after another with their progress, each a POST of the form's own.
// One that fails on the way can be sent again; it carries the same key, so it is never kept twice. So can one that
// came to the door, because the sign-in ran out: once somebody has signed in on another tab of this browser.
import { hook } from "./hook.js";

function post(form, file, key, progress) {
  return new Promise((answer) => {
    const body = new FormData(form);
    body.set(progress.dataset.name, file);
    if (key) {
      body.set("once", key);
    }
    const token = /(?:^|; )csrftoken=([^;]+)/.exec(document.cookie)?.[1];
    if (token) {
      body.set("csrfmiddlewaretoken", token); // the page's own is stale after a new sign-in
    }
    const request = new XMLHttpRequest();
    request.open("POST", form.action);
    request.setRequestHeader("X-Photo", "1");
    request.upload.addEventListener("progress", (event) => {
      progress.value = event.total ? event.loaded / event.total : 0;
    });
    request.addEventListener("load", () => {
      const plain = request.getResponseHeader("Content-Type")?.startsWith("text/plain");
      answer({
        kept: request.status === 204,
        refused: request.status >= 400 && request.status < 500,
        door: request.status === 200 ? request.responseURL : "", // the way there was followed silently
        words: plain ? request.responseText : "",
      });
    });
    request.addEventListener("error", () => answer({ kept: false, words: "" }));
    request.send(body);
  });
}

hook("form[data-photos]", (form) => {
  const box = form.querySelector('input[type="file"]');
  const list = form.querySelector(".camera-list");
  const key = form.querySelector('input[name="once"]')?.value;
  let taken = 0;
  let line = Promise.resolve();

  const show = (file) => {
    const item = document.createElement("li");
    const picture = document.createElement("img");
    const said = document.createElement("p");
    const progress = document.createElement("progress");
    picture.alt = "";
    picture.src = URL.createObjectURL(file);
    picture.addEventListener("load", () => URL.revokeObjectURL(picture.src), { once: true });
    said.textContent = `Sending photo ${taken}`;
    progress.max = 1;
    progress.value = 0;
    progress.dataset.name = box.name;
    progress.setAttribute("aria-label", `Photo ${taken}`);
    item.append(picture, said, progress);
    list.append(item);
    return { item, said, progress };
  };

  const send = async (file, parts, once) => {
    const { kept, refused, door, words } = await post(form, file, once, parts.progress);
    parts.progress.remove();
    if (kept) {
      parts.said.textContent = "Kept.";
      parts.item.dataset.kept = "";
      return;
    }
    parts.said.textContent = words || (refused ? "This picture can’t be kept." : "The shop’s computer can’t be reached.");
    if (door) {
      const enter = document.createElement("a");
      enter.href = door;
      enter.target = "_blank";
      enter.textContent = "Sign in on another tab";
      parts.said.replaceChildren("You are signed out, so it is not kept yet. ", enter, ", then send it again from here.");
    }
    if (!refused) {
      const again = document.createElement("button");
      again.type = "button";
      again.className = "button";
      again.textContent = "Send again";
      again.addEventListener("click", async () => {
        again.replaceWith(parts.progress);
        await send(file, parts, once);
        finish();
      });
      parts.item.append(again);
    }
  };

  const finish = () => {
    const items = [...list.children];
    if (!items.length || !items.every((item) => "kept" in item.dataset)) {
      return; // what went wrong stays in sight
    }
    const { photosPart, photosThen } = form.dataset;
    if (photosPart && photosThen) {
      window.htmx.ajax("GET", photosPart, { target: photosThen, swap: "outerHTML" }).then(() => list.replaceChildren());
    } else {
      location.reload();
    }
  };

  box.addEventListener("change", () => {
    for (const file of box.files) {
      taken += 1;
      const parts = show(file);
      const once = key && `${key}-${taken}`;
      line = line.then(() => send(file, parts, once));
    }
    box.value = "";
    line = line.then(finish);
  });
});
