-- The built-in renderer's part of what Quarto does with `fig-alt`: it becomes the
-- alternative text, in HTML and in typst, and a figure in typst is not split.

local function quoted(text)
  return '"' .. text:gsub('\\', '\\\\'):gsub('"', '\\"') .. '"'
end

local function typst_image(image)
  local width = image.attributes.width
  return 'image(' .. quoted(image.src)
    .. (width and ', width: ' .. width or '')
    .. ', alt: ' .. quoted(image.attributes.alt or '') .. ')'
end

function Image(image)
  local alt = image.attributes['fig-alt']
  if alt then
    image.attributes.alt = alt
    image.attributes['fig-alt'] = nil
  end
  return image
end

-- Images of a figure come with it; those inside a line are set as a box.
local function inline_image(image)
  return pandoc.RawInline('typst', '#box(' .. typst_image(image) .. ')')
end

local function figure(fig)
  local image
  fig.content:walk { Image = function(found) image = found end }
  if not image then return fig end
  local inlines = pandoc.utils.blocks_to_inlines(fig.caption.long)
  local id = fig.identifier ~= '' and ' <' .. fig.identifier .. '>' or ''
  inlines:insert(1, pandoc.RawInline('typst', '#figure(' .. typst_image(image) .. ', caption: ['))
  inlines:insert(pandoc.RawInline('typst', '])' .. id))
  return pandoc.Plain(inlines)
end

local filters = { { Image = Image } }
if FORMAT == 'typst' then
  table.insert(filters, { traverse = 'topdown', Figure = function(f) return figure(f), false end })
  table.insert(filters, { Image = inline_image })
end
return filters
