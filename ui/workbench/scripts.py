"""The few scripts of our own; each is written out whole here, because a page runs only scripts the server names.

What a script needs to know stands in attributes of its element, never in its text (see `door/headers.py`).
"""

from __future__ import annotations

# The place to drop files on says that it is decoration and yet takes the focus; screen readers stumble over that.
MEND_ROLES = """(function () {
  const mend = () => document.querySelectorAll('[data-testid=stFileUploaderDropzone][role=presentation]')
    .forEach(e => e.removeAttribute('role'));
  mend();
  if (!window.fnMending) {
    window.fnMending = new MutationObserver(mend);
    window.fnMending.observe(document.body, {childList: true, subtree: true});
  }
})()"""

# Decimal keypad on phones; without a touch screen the cursor is put into the field.
KEEP_FOCUS = """(function put(tries) {
  const field = document.querySelector('.st-key-entry input');
  if (!field) { if (tries) setTimeout(put, 50, tries - 1); return; }
  field.setAttribute('inputmode', 'decimal');
  field.setAttribute('enterkeyhint', 'done');
  document.querySelector('[data-testid=stMain]').scrollTo(0, 0);
  const nowhere = document.activeElement === document.body || document.activeElement === null;
  if (!nowhere || matchMedia('(pointer: coarse)').matches) return;
  field.focus({preventScroll: true});
})(100)"""

SCRIPTS = (MEND_ROLES, KEEP_FOCUS)
