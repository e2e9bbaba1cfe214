// What is to be on the page, told as plain values, and one function that makes the page so.
//
// h() makes a value, paint() changes as little of the page as it takes to show it: what the brewer
// has focused, scrolled or half typed stays as it is while new readings come in.

import { places, settle } from "./press.js";

const SVG = "http://www.w3.org/2000/svg";

/**
 * A piece of the page: a tag, its attributes and listeners (onclick: ...), its children.
 *
 * A button without a key has its words for one: it never becomes another one under the finger.
 */
export function h(tag, props, ...children) {
  const own = props ?? {};
  const keyed = tag === "button" && own.key === undefined ? { ...own, key: own["aria-label"] ?? children.find((one) => typeof one === "string") } : own;
  return { tag, props: keyed, children: flat(children) };
}

/** Make the children of `root` show these values. */
export function paint(root, ...values) {
  const before = places(root);
  paintChildren(root, flat(values), root.namespaceURI === SVG);
  settle(root, before);
}

function flat(values) {
  return values.flat(Infinity).filter((one) => one !== null && one !== undefined && one !== false && one !== "");
}

function paintChildren(root, values, inSvg) {
  values.forEach((value, place) => {
    const there = root.childNodes[place];
    if (typeof value !== "object") {
      const text = String(value);
      if (there?.nodeType !== Node.TEXT_NODE) root.insertBefore(document.createTextNode(text), there ?? null);
      else if (there.data !== text) there.data = text;
      return;
    }
    let node = there;
    if (!fits(there, value)) {
      node = value.props.key === undefined ? undefined : later(there, value);
      node ??= made(value, inSvg);
      root.insertBefore(node, there ?? null);
    }
    paintOne(node, value, inSvg);
  });
  while (root.childNodes.length > values.length) root.lastChild.remove();
}

function fits(node, value) {
  return node?.nodeType === Node.ELEMENT_NODE && node.localName === value.tag && node.ofKey === value.props.key;
}

function later(node, value) {
  for (let next = node; next; next = next.nextSibling) if (fits(next, value)) return next;
  return undefined;
}

function made(value, inSvg) {
  const svg = inSvg || value.tag === "svg";
  const node = svg ? document.createElementNS(SVG, value.tag) : document.createElement(value.tag);
  node.ofKey = value.props.key;
  node.shown = {};
  return node;
}

function paintOne(node, value, inSvg) {
  const before = (node.shown ??= {});
  for (const name of Object.keys(before)) if (!(name in value.props)) set(node, name, undefined, before[name]);
  // A select takes its value only once its options are there.
  if (!value.props.opaque) paintChildren(node, value.children, inSvg || value.tag === "svg");
  for (const [name, now] of Object.entries(value.props)) set(node, name, now, before[name]);
  const isNew = node.wasMade === undefined;
  node.wasMade = true;
  node.shown = value.props;
  if (isNew) value.props.whenMade?.(node);
}

function set(node, name, now, before) {
  if (name === "key" || name === "opaque" || name === "whenMade") return;
  if (name.startsWith("on")) {
    listen(node, name.slice(2), now);
  } else if (name === "style") {
    // Set by property: a strict policy for contents forbids style attributes.
    for (const property of Object.keys(before ?? {})) if (!(property in (now ?? {}))) node.style.removeProperty(property);
    for (const [property, to] of Object.entries(now ?? {})) node.style.setProperty(property, to);
  } else if (name === "value" || name === "checked") {
    // What is typed belongs to the brewer until the page means something else.
    if (now !== before) node[name] = now ?? "";
  } else if (now === undefined || now === null || now === false) {
    node.removeAttribute(name);
  } else if (now !== before) {
    node.setAttribute(name, now === true ? "" : now);
  }
}

function listen(node, kind, listener) {
  node.listeners ??= {};
  if (!(kind in node.listeners)) node.addEventListener(kind, (event) => node.listeners[kind]?.(event));
  node.listeners[kind] = listener;
}
