"""What a thumb needs: targets of 44 pixels that lie apart, and on a phone the pages in its reach, at the foot.

44 CSS pixels: Web Content Accessibility Guidelines 2.2, success criterion 2.5.5 (Target Size, Enhanced),
https://www.w3.org/TR/WCAG22/#target-size-enhanced, read 2026-11-27.
"""

from __future__ import annotations

_TARGETS = """
@media (max-width: 640px), (pointer: coarse) {
  button[data-testid^="stBaseButton"], [data-testid="stExpandSidebarButton"], [data-testid="stButtonGroup"] button,
  [data-testid="stTab"],
  [data-testid="stSidebarNavLink"], .stPageLink a, .stExpander summary, .stDownloadButton button, .stLinkButton a {
    min-height: 44px; min-width: 44px; }
  .stTextInput input, .stNumberInput input, .stDateInput input, [data-testid="stTextInputRootElement"],
  .react-aria-ComboBox > [role="group"], .react-aria-ComboBox > [role="group"] > button { min-height: 44px; }
  .react-aria-ComboBox > [role="group"] > button { min-width: 44px; }
  .stCheckbox label, .stRadio label:has(input) { min-height: 44px; min-width: 44px; align-items: center; }
  [data-testid="stMultiSelectTagsContainer"] button { min-height: 44px; min-width: 44px; }
  .stTooltipIcon button { min-height: 44px; min-width: 44px; }
  /* what says more about a field stands in the row of its name, which is then as high as it: no field lies under it */
  [data-testid="stWidgetLabel"]:has(.stTooltipIcon) { min-height: 44px; align-items: center; }
  .stSlider [role="slider"] { min-height: 44px; }
  /* a swipe does what these do, and they are too small to be hit */
  [data-testid^="stTabsScroll"], [data-testid="stElementToolbar"], [data-testid="stHeaderActionElements"] {
    display: none !important; }
}
.st-key-phone-nav { display: none; }
@media (max-width: 640px) {
  .st-key-phone-nav { display: flex; flex-wrap: nowrap; gap: 0 0.2rem; position: fixed; z-index: 30; inset: auto 0 0 0;
    width: 100%; overflow-x: auto; overscroll-behavior-x: contain; scrollbar-width: none; background: var(--fc-paper);
    border-top: 1px solid color-mix(in srgb, var(--fc-ink) 30%, transparent);
    padding: 2px 0.5rem calc(2px + env(safe-area-inset-bottom)); }
  .st-key-phone-nav > * { flex: none; }
  .st-key-phone-nav .stElementContainer, .st-key-phone-nav a { margin: 0; }  /* else they are drawn in, and cut off */
  /* the page one is on is in sight from the start, where the browser knows how; with room for bolder letters to come */
  .st-key-phone-nav-here { position: relative; }
  .st-key-phone-nav-here::before { content: ""; position: absolute; inset: 0 -3rem; pointer-events: none;
    scroll-initial-target: nearest; }
  .st-key-phone-nav p { white-space: nowrap; font-size: 0.87rem; }
  .stMainBlockContainer { padding: 3.6rem 0.9rem 6rem; }
  [data-testid="stLayoutWrapper"]:has(> .st-key-tray-foot) { bottom: 49px; }
}
"""


def thumb_rules() -> str:
    """Give the part of the stylesheet that is for thumbs."""
    return _TARGETS


__all__ = ["thumb_rules"]
