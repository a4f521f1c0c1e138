// What the tests of accessibility measure on a page that is shown; each function returns what it found, in words.
"use strict";
(() => {
  const all = (what, from = document) => [...from.querySelectorAll(what)];
  const start = each => each.outerHTML.slice(0, 110);

  // axe-core by its rules. It takes the contrast of words against every point behind them, which is most of its time
  // on a long page; faint() measures that on every page, so axe-core does where a page is short.
  async function byRules() {
    for (const each of all("svg[role=img]")) each.replaceChildren(...all(":scope > :is(title, desc)", each)); // one picture each
    const told = await axe.run(document, {
      resultTypes: ["violations"],
      rules: { "color-contrast": { enabled: all("body *").length < 200 } },
      runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    });
    return told.violations.map(each => `${each.id} (${each.impact}): `
      + each.nodes.slice(0, 3).map(node => node.target.join(" ")).join("; "));
  }

  // What no rule of axe-core asks for.
  function look() {
    const found = [];
    if (all("h1").length !== 1) found.push(`${all("h1").length} first headings`);
    if (!document.documentElement.lang) found.push("no language");
    for (const each of all("th:not([scope])")) found.push(`no scope: ${start(each)}`);
    for (const each of all("svg:not([role=img], [aria-hidden=true])")) found.push(`neither picture nor ornament: ${start(each)}`);
    for (const each of all("svg[role=img]"))
      if (!(each.querySelector("title")?.textContent || each.getAttribute("aria-label") || "").trim()) found.push(`no words: ${start(each)}`);
    for (const each of all("[tabindex]")) if (each.tabIndex > 0) found.push(`out of order: ${start(each)}`);
    for (const each of all("a[href^='#']"))
      if (!document.getElementById(decodeURIComponent(each.getAttribute("href").slice(1)))) found.push(`leads nowhere: ${start(each)}`);
    const ids = all("[id]").map(each => each.id);
    for (const id of new Set(ids.filter((each, at) => ids.indexOf(each) !== at))) found.push(`twice: #${id}`);
    const wrong = all("[aria-invalid=true]");
    for (const each of wrong) {
      const said = (each.getAttribute("aria-describedby") || "").split(" ").map(id => document.getElementById(id)?.textContent || "");
      if (!said.join("").trim()) found.push(`wrong, and nothing says why: ${start(each)}`);
    }
    if (wrong.length && !document.activeElement.matches(".alert, .trouble")) found.push("what is wrong did not take the focus");
    if (document.querySelector("body > header nav") && !document.querySelector("a[href]").matches(".skip, [href^='#']"))
      found.push("no way past the menu");
    return found;
  }

  // Words that their box hides.
  function cutOff() {
    return all("body *").filter(each => {
      const style = getComputedStyle(each);
      return style.overflowX === "hidden" && !each.closest("svg, .unseen, noscript") && each.clientWidth > 1 && each.textContent.trim()
        && (each.scrollWidth > each.clientWidth + 1 || each.scrollHeight > each.clientHeight + 1);
    }).map(start);
  }

  const channels = colour => (colour.match(/[\d.]+/g) || ["0", "0", "0"]).map(Number);

  function luminance(colour) {
    const [r, g, b] = channels(colour).map(each => each / 255).map(each => each <= .04045 ? each / 12.92 : ((each + .055) / 1.055) ** 2.4);
    return .2126 * r + .7152 * g + .0722 * b;
  }

  // The contrast of two colours by WCAG 2.2.
  function contrast(one, other) {
    const [dark, light] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (light + .05) / (dark + .05);
  }

  // Words that stand out too little from the colour behind them: no page lays one thing over another, so what is behind
  // is the nearest ancestor that has a colour. Large words need less (WCAG 2.2, 1.4.3).
  function faint() {
    const paper = getComputedStyle(document.documentElement).backgroundColor;
    const known = new Map();
    const behind = each => {
      if (!each || each === document.documentElement) return paper;
      if (!known.has(each)) {
        const own = getComputedStyle(each).backgroundColor;
        known.set(each, (channels(own)[3] ?? 1) > 0 ? own : behind(each.parentElement));
      }
      return known.get(each);
    };
    return all("body *").filter(each => !each.closest("svg, noscript, .unseen") && !each.matches(":disabled") && each.checkVisibility()
      && [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())).filter(each => {
      const style = getComputedStyle(each);
      const size = parseFloat(style.fontSize);
      const least = size >= 24 || (size >= 18.66 && style.fontWeight >= 700) ? 3 : 4.5;
      return contrast(style.color, behind(each)) < least;
    }).map(start);
  }

  // Where the keyboard stands, and whether that is seen.
  function stop() {
    const each = document.activeElement;
    const style = getComputedStyle(each);
    const box = each.getBoundingClientRect();
    return {
      tag: each.tagName,
      words: start(each),
      outline: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
      contrast: contrast(style.outlineColor, getComputedStyle(document.documentElement).backgroundColor),
      seen: box.bottom > 0 && box.top < innerHeight && box.width > 0,
    };
  }

  const CONTROLS = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";

  // Number every control that the keyboard can stop at; returns how many there are.
  function numbered() {
    const found = all(CONTROLS).filter(each => !each.disabled && each.tabIndex >= 0 && each.checkVisibility());
    found.forEach((each, at) => { each.dataset.stop = at; });
    return found.length;
  }

  function smallerThan(px) {
    return all(CONTROLS, document.querySelector("main")).filter(each => {
      const box = each.getBoundingClientRect();
      // A link in the middle of a sentence is as high as its line (2.5.5 has it as an exception).
      const inText = each.matches("a") && getComputedStyle(each).display === "inline";
      return each.checkVisibility() && !inText && (box.height < px || box.width < px);
    }).map(start);
  }

  // Words of pictures that stand out too little from what is drawn behind them.
  function faintInPictures(least) {
    const found = [];
    for (const text of all("main svg text").filter(each => each.checkVisibility() && each.textContent.trim())) {
      text.scrollIntoView({ block: "center" });
      const box = text.getBoundingClientRect();
      const behind = document.elementsFromPoint(box.left + box.width / 2, box.top + box.height / 2)
        .find(each => !each.closest("text") && each.closest("svg") === text.closest("svg")
          && (each.tagName === "svg" ? false : /^rgb/.test(getComputedStyle(each).fill) && getComputedStyle(each).fillOpacity > .5));
      const paper = getComputedStyle(document.documentElement).backgroundColor;
      const ratio = contrast(getComputedStyle(text).fill, behind ? getComputedStyle(behind).fill : paper);
      if (ratio < least) found.push(`${text.textContent.trim()}: ${ratio.toFixed(1)}`);
    }
    return found;
  }

  // Where a user has a scheme of two colours: pictures have paper of their own, and what was filled has a frame.
  function lostInForcedColours() {
    const found = [];
    for (const each of all("main svg[role=img]").filter(each => each.checkVisibility())) {
      const paper = getComputedStyle(each).backgroundColor;
      if ((channels(paper)[3] ?? 1) === 0) found.push(`a picture without paper: ${start(each)}`);
      // A word on something filled is measured where no colour is forced; here its ink must be that same ink.
      for (const text of all("text", each))
        if (/^rgb/.test(getComputedStyle(text).fill) && contrast(getComputedStyle(text).fill, paper) < 4.5 && luminance(getComputedStyle(text).fill) < .5)
          found.push(`lost: ${text.textContent}`);
    }
    for (const each of all("button, .dial, .answer.stop .verdict, .demo").filter(each => each.checkVisibility() && !each.matches(".unseen, .who button")))
      if (parseFloat(getComputedStyle(each).borderBottomWidth) < 1) found.push(`no frame: ${start(each)}`);
    return found;
  }

  // A printer leaves out what lies behind words.
  function tooLightForPaper() {
    return all("body *").filter(each => !each.closest("svg, noscript, .unseen") && each.checkVisibility()
      && [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())
      && contrast(getComputedStyle(each).color, "rgb(255, 255, 255)") < 4.5).map(start);
  }

  window.seen = { byRules, look, faint, cutOff, contrast, stop, numbered, smallerThan, faintInPictures, lostInForcedColours, tooLightForPaper };
})();
