/* What keyboards and screen readers need and the component library doesn't give. No words here. */
"use strict";
(function () {
  /* The other pages on a phone: opened and closed by their word; Escape, a choice or going elsewhere closes. */
  function opened() {
    return document.querySelector('.nav-more[aria-expanded="true"]');
  }

  function close(refocus) {
    const more = opened();
    if (!more) return;
    more.setAttribute("aria-expanded", "false");
    if (refocus) more.focus();
  }

  document.addEventListener("click", (event) => {
    const more = event.target.closest(".nav-more");
    if (more && more !== opened()) more.setAttribute("aria-expanded", "true"); else close(false);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") close(true);
  });
  document.addEventListener("focusin", (event) => {
    if (!event.target.closest(".nav")) close(false);
  });

  /* The library calls its radio buttons options of a list box and hides a field that takes the focus from those
     who can't see it. Here they are radio buttons again, named by the legend or label before them. */
  let named = 0;

  function name(group) {
    const box = group.closest("fieldset, .field");
    const title = box && box.querySelector("legend, label, .label");
    if (!title || title.contains(group) || group.contains(title)) return;
    if (!title.id) title.id = `named-${(named += 1)}`;
    group.setAttribute("aria-labelledby", title.id);
  }

  function mend() {
    document.querySelectorAll('.dash-radioitems[role="listbox"]').forEach((group) => {
      group.setAttribute("role", "radiogroup");
      name(group);
    });
    document.querySelectorAll(".dash-radioitems [aria-selected], .dash-radioitems [role=option]").forEach((option) => {
      option.removeAttribute("role");
      option.removeAttribute("aria-selected");
    });
    document.querySelectorAll('.dash-dropdown-focus-target[tabindex="0"]').forEach((field) => {
      field.setAttribute("tabindex", "-1");
    });
  }

  new MutationObserver(mend).observe(document, {
    subtree: true, childList: true, attributes: true, attributeFilter: ["role", "aria-selected", "tabindex"],
  });
})();
