/* The board of a build day. Marks go into a queue kept on this device and are sent one after the other; the key made
   for each tap lets the server take it once, however often it arrives. Without this script the forms work as they are. */
(() => {
  "use strict";
  // A page that came without TLS, or an older telephone, has not all of these: forms go to the server as they are.
  if (!window.isSecureContext || !window.indexedDB || !navigator.locks || !AbortSignal.timeout || !crypto.randomUUID) return;
  const body = document.body, board = body.dataset.board, notice = document.getElementById("kept");

  const opened = new Promise((resolve, reject) => {
    const request = indexedDB.open("buildout-board", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("marks", { keyPath: "no", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const ask = async (mode, work) => {
    const store = (await opened).transaction("marks", mode).objectStore("marks");
    return new Promise((resolve, reject) => {
      const request = work(store);
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  };
  const kept = async () => (await ask("readonly", store => store.getAll())).filter(mark => mark.board === board);

  const tell = (lines, heading) => {
    notice.replaceChildren();
    const title = document.createElement("strong");
    title.textContent = heading;
    const list = document.createElement("ul");
    for (const line of lines) {
      const item = document.createElement("li");
      item.textContent = line;
      list.append(item);
    }
    notice.append(title, list);
    notice.hidden = false;
  };
  const show = async () => {
    const marks = await kept();
    if (marks.length) tell(marks.map(mark => `${mark.clock} ${mark.what}`), `No signal. Kept on this phone, sent later: ${marks.length}`);
    else notice.hidden = true;
    return marks.length;
  };

  const send = async mark => {
    const form = new FormData();
    for (const [name, value] of mark.fields) form.append(name, value);
    const token = document.querySelector("input[name=csrfmiddlewaretoken]"); // the one of now: signing in changes it
    if (token) form.set("csrfmiddlewaretoken", token.value);
    form.set("ago", String(Math.max(0, Math.round((Date.now() - mark.at) / 1000))));
    const answer = await fetch(mark.action, {
      method: "POST", body: form, headers: { Accept: "application/json" }, redirect: "manual", signal: AbortSignal.timeout(20000),
    });
    if (answer.status >= 500 || answer.type === "opaqueredirect" || !(answer.headers.get("Content-Type") || "").includes("json"))
      throw Object.assign(new Error("not taken"), { answered: true, status: answer.status });
    return answer.json();
  };
  const flush = () => navigator.locks.request("buildout-board", async () => {
    const said = [];
    let sent = 0;
    for (const mark of await kept()) {
      let answer;
      try {
        answer = await send(mark);
      } catch (error) {
        await show();
        if (error.answered) tell([`${mark.what}: the server did not take it. Load the page again, or sign in; nothing is lost.`], "Kept on this phone");
        return;
      }
      await ask("readwrite", store => store.delete(mark.no));
      sent += 1;
      if (answer.outcome === "refused" || answer.outcome === "conflict") said.push(`${mark.what}: ${answer.text}`);
    }
    if (!sent) return show();
    if (said.length) sessionStorage.setItem("board-said", JSON.stringify(said));
    location.reload();
  });

  document.addEventListener("submit", async event => {
    const form = event.target.closest("form[data-mark]");
    const button = event.submitter;
    if (!form || !button) return;
    event.preventDefault();
    if (button.disabled) return;
    const data = new FormData(form, button);
    const photo = data.get("photo");
    if (photo && !photo.size) data.delete("photo");
    data.set("key", crypto.randomUUID());
    button.disabled = true;
    const now = new Date();
    const note = data.get("text") || data.get("count") || "";
    const what = (button.getAttribute("aria-label") || button.textContent.trim()) + (note ? `: ${note}` : "");
    try {
      await ask("readwrite", store => store.add({
        board, action: form.action, fields: [...data.entries()], at: now.getTime(), what,
        clock: now.toTimeString().slice(0, 5),
      }));
    } catch {
      button.disabled = false;
      form.removeAttribute("data-mark"); // no room on this device: the plain form still works
      form.requestSubmit(button);
      return;
    }
    button.textContent = `✓ ${button.textContent.trim()}`;
    await flush();
  });

  let touched = false; // ticks and words not sent yet are never thrown away by looking again
  document.addEventListener("input", () => { touched = true; });

  const said = sessionStorage.getItem("board-said");
  sessionStorage.removeItem("board-said");
  kept().then(marks => {
    if (marks.length) flush();
    else if (said) tell(JSON.parse(said), "Please look:");
  });
  addEventListener("online", flush);
  setInterval(async () => { if ((await kept()).length) flush(); }, 15000);
  setInterval(() => {
    if (!touched && document.visibilityState === "visible" && navigator.onLine && !document.querySelector("details[open], input:focus")) kept().then(marks => marks.length || location.reload());
  }, 120000);

  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.register(body.dataset.worker, { scope: body.dataset.scope }).then(async () => {
      const ready = await navigator.serviceWorker.ready;
      const files = [...document.querySelectorAll("link[rel=stylesheet], script[src], link[rel=icon]")].map(one => one.href || one.src);
      const pages = (body.dataset.keep || "").split(" ").filter(Boolean);
      ready.active.postMessage({ keep: [location.pathname, ...pages, ...files] });
    }).catch(() => {});
    navigator.serviceWorker.addEventListener("message", event => {
      if (event.data === "kept") body.dataset.ready = "yes";
    });
  }
})();
