// What is live on a page: new entries arrive by themselves, and a form's time stays at now until
// someone sets it. Without this script a page is read again by hand, and all of it works.
(function () {
  "use strict";

  // Not by id: a row of a table has the mark of its stick for one, whatever that is.
  var box = document.querySelector("div[data-watch]");
  var state = document.querySelector("p#live-state");
  if (box && window.EventSource) {
    var source = new EventSource(box.dataset.watch);
    var due = 0;
    source.addEventListener("open", function () { say("New entries appear here by themselves."); });
    source.addEventListener("error", function () { say("Not connected just now; trying again."); });
    source.addEventListener("entry", function () {
      // Entries come in batches; the list is fetched once for all of a batch.
      window.clearTimeout(due);
      due = window.setTimeout(refresh, 300);
    });
    window.addEventListener("pagehide", function () { source.close(); });
  }

  function refresh() {
    fetch(box.dataset.refresh, { headers: { Accept: "text/html" }, credentials: "same-origin", redirect: "error" })
      .then(function (answer) {
        if (!answer.ok) { throw new Error(String(answer.status)); }
        return answer.text();
      })
      .then(function (html) { box.innerHTML = html; })
      .catch(function () { say("New entries could not be read; reload the page."); });
  }

  function say(text) {
    if (state && state.textContent !== text) { state.textContent = text; }
  }

  // The server gives each form the time at the site, and how many minutes its clock is ahead of
  // universal time.
  var fields = document.querySelectorAll("input[data-ahead]");
  fields.forEach(function (field) {
    var timer = window.setInterval(function () {
      var site = new Date(Date.now() + Number(field.dataset.ahead) * 60000);
      field.value = site.toISOString().slice(0, 16);
    }, 20000);
    function leave() { window.clearInterval(timer); }
    field.addEventListener("input", leave);
    field.form.addEventListener("submit", leave);
  });
})();
