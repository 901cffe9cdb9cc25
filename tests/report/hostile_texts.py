"""Texts that a page, a table or a drawing must show and never interpret."""

TEXTS = (
    'O\'Neil "Big" <b>&amp; Sons</b>',
    '#eval("1+1") #set page(fill: red) $x^2$ *bold* _it_ `raw` @ref <label> // gone /* gone */',
    "\\u{41} #sys.version = heading - item + item ~ --- ... [x](y)",
    '=HYPERLINK("http://example.com")',
    "בית ברחוב האלון 12",
    "منزل في شارع الدردار",
    "house 🏠 and 😀 face, 屋根",
    "x" * 300,
    ("word " * 60).strip(),
    "tab\there\nnew line\x00nul \u202egnp.exe",
)
