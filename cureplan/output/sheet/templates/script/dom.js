// Making and changing elements; texts go in as text, never as markup.
function element(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
  for (const child of children) made.append(child);
  return made;
}

function drawn(tag, attributes, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function show(node, shown) {
  if (node.hidden === shown) node.hidden = !shown;
}

function mark(node, name, value) {
  if (node.getAttribute(name) !== value) node.setAttribute(name, value);
}

function setState(node, name) {
  for (const other of Object.keys(SHAPES)) node.classList.toggle("state-" + other, other === name);
}

// As many children as there are items, made once and then only changed.
function fill(list, items, make, change) {
  while (list.children.length > items.length) list.lastElementChild.remove();
  while (list.children.length < items.length) list.append(make());
  items.forEach((item, place) => change(list.children[place], item));
}
