-- The layout of the printed page, for both renderers: a figure keeps its caption, a
-- measure keeps its chart. For the built-in one also what Quarto does with `fig-alt`.

local PRINTED = 0.78 -- of the size on the screen: three charts a page

local function quoted(text)
  return '"' .. text:gsub('\\', '\\\\'):gsub('"', '\\"') .. '"'
end

local function printed(width, share)
  local number, unit = (width or ''):match('^([%d.]+)(%a+)$')
  return number and string.format(', width: %.4g%s', tonumber(number) * share, unit) or ''
end

local function typst_image(image, share)
  return 'image(' .. quoted(image.src) .. printed(image.attributes.width, share)
    .. ', alt: ' .. quoted(image.attributes.alt or '') .. ')'
end

local function Image(image)
  local alt = image.attributes['fig-alt']
  if alt then
    image.attributes.alt = alt
    image.attributes['fig-alt'] = nil
  end
  return image
end

local function inline_image(image)
  return pandoc.RawInline('typst', '#box(' .. typst_image(image, 1) .. ')')
end

local function figure(fig)
  local image
  fig.content:walk { Image = function(found) image = found end }
  if not image then return fig end
  local inlines = pandoc.utils.blocks_to_inlines(fig.caption.long)
  local start = '#figure(' .. typst_image(image, PRINTED) .. ', caption: ['
  inlines:insert(1, pandoc.RawInline('typst', start))
  inlines:insert(pandoc.RawInline('typst', '])'))
  return pandoc.Plain(inlines)
end

-- Small charts stand in a grid, four a row.
local function printed_grid(div)
  local out = pandoc.Blocks { pandoc.RawBlock('typst', '#grid(columns: (1fr,) * 4, gutter: 7pt,') }
  for _, panel in ipairs(div.content) do
    out:insert(pandoc.RawBlock('typst', '[#set text(7.5pt); #set par(leading: 0.45em, spacing: 0.5em)'))
    out:extend(panel.content)
    out:insert(pandoc.RawBlock('typst', '],'))
  end
  out:insert(pandoc.RawBlock('typst', ')'))
  return out
end

-- Two figures of one thing share a row.
local function printed_pair(div)
  local out = pandoc.Blocks { pandoc.RawBlock('typst', '#grid(columns: (1fr, 1fr), gutter: 10pt,') }
  for _, one in ipairs(div.content) do
    out:insert(pandoc.RawBlock('typst', '['))
    out:extend(pandoc.Div(one.content):walk { Image = function(image)
      image.attributes.width = '10.5cm'
      return image
    end }.content)
    out:insert(pandoc.RawBlock('typst', '],'))
  end
  out:insert(pandoc.RawBlock('typst', ')'))
  return out
end

-- The facts, on the screen a strip of large numbers, are one line in print.
local function printed_div(div)
  if div.classes:includes('finding') then -- it stays with the figure that it speaks of
    div.attributes['typst:sticky'] = 'true'
    return div:walk { Para = function(p) return pandoc.Para { pandoc.Strong(p.content) } end }
  end
  if div.classes:includes('caution') or div.classes:includes('note')
    or div.classes:includes('safety') then
    div.attributes['typst:breakable'] = 'false'
    if div.classes:includes('caution') then -- the last page is never a line or two alone
      div.attributes['typst:sticky'] = 'true'
    end
    return div
  end
  if div.classes:includes('measures') then -- on one page
    div.content:insert(1, pandoc.RawBlock('typst', '#set table(inset: (x: 3pt, y: 2.6pt)); #show table: set text(7.4pt)'))
    return div
  end
  if div.classes:includes('pair') then return printed_pair(div) end
  if div.classes:includes('grid') then return printed_grid(div) end
  if not div.classes:includes('facts') then return nil end
  local line = pandoc.Inlines {}
  div:walk { BulletList = function(list)
    for i, item in ipairs(list.content) do
      if i > 1 then line:extend { pandoc.Str ' ·', pandoc.Space() } end
      line:extend(pandoc.utils.blocks_to_inlines(item))
    end
  end }
  return pandoc.Para(line)
end

-- Under a heading of class `charts` each third-level heading and what follows is one block.
local function keep_together(doc)
  local out, kept, inside = pandoc.Blocks {}, nil, false
  local function close()
    if kept then out:insert(pandoc.Div(kept, { ['typst:breakable'] = 'false' })) end
    kept = nil
  end
  for _, block in ipairs(doc.blocks) do
    if block.t == 'Header' and block.level <= 3 then
      close()
      if block.level <= 2 then inside = block.classes:includes('charts') end
      if inside and block.level == 3 then kept = pandoc.Blocks {} end
    end
    (kept or out):insert(block)
  end
  close()
  doc.blocks = out
  return doc
end

-- Quarto wraps what a cell shows in divisions of its own.
local function unwrap(blocks)
  local out = pandoc.Blocks {}
  for _, block in ipairs(blocks) do
    local class = block.t == 'Div' and block.classes[1] or ''
    if class:match('^cell') then out:extend(unwrap(block.content)) else out:insert(block) end
  end
  return out
end

local function unwrapped(doc)
  doc.blocks = unwrap(doc.blocks)
  return doc
end

local function printed_header(header)
  if not header.classes:includes('newpage') then return nil end
  return { pandoc.RawBlock('typst', '#pagebreak(weak: true)'), header }
end

-- Limits stand beneath their number, a unit beneath its measure, in small type.
local function printed_span(span)
  if not (span.classes:includes('limits') or span.classes:includes('unit')) then return nil end
  local inlines = pandoc.Inlines { pandoc.RawInline('typst', '#linebreak()#text(0.85em)[') }
  inlines:extend(span.content)
  inlines:insert(pandoc.RawInline('typst', ']'))
  return inlines
end

-- One half of a report: what stands before its appendix, or the appendix. A link into the
-- other half becomes its text.
local function half(doc)
  local wanted = doc.meta.part and pandoc.utils.stringify(doc.meta.part)
  if not wanted then return nil end
  local kept, inside, ids = pandoc.Blocks {}, false, {}
  for _, block in ipairs(doc.blocks) do
    if block.t == 'Header' and block.identifier == 'appendix' then inside = true end
    if inside == (wanted == 'appendix') then kept:insert(block) end
  end
  local function note(found) ids[found.identifier] = true end
  kept:walk { Header = note, Div = note, Figure = note, Table = note, Span = note }
  doc.blocks = kept:walk { Link = function(link)
    local id = link.target:match('^#(.+)$')
    if id and not ids[id] then return link.content end
  end }
  return doc
end

local filters = { { Image = Image } }
if FORMAT == 'typst' then
  table.insert(filters, { Pandoc = unwrapped })
  table.insert(filters, { Pandoc = half })
  table.insert(filters, { Div = printed_div, Span = printed_span, Header = printed_header })
  table.insert(filters, { traverse = 'topdown', Figure = function(f) return figure(f), false end })
  table.insert(filters, { Image = inline_image })
  table.insert(filters, { Pandoc = keep_together })
end
return filters
