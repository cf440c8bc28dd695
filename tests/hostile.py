"""Texts that try to become more than text: markup, scripts, marks of templates, escapes."""

from PIL import Image

from lightplan.scene import Camera, Card, Lamp, Placement, Prop, Rig, Sheet, Shell

TEXTS = (
    "<script>ran(1)</script>",
    "</script><script>ran(2)</script>",
    '"><img src=x onerror=ran(3)>',
    "' onmouseover='ran(4)' autofocus onfocus='ran(4)",
    '" autofocus onfocus="ran(5)" x="',
    "q autofocus onfocus=ran(6) tabindex=1 x",
    "@@MODEL@@",
    "@@TITLE@@ @@MODEL@@ @@NONE@@",
    "{{ 7 * 7 }}{% for x in y %}",
    "<svg/onload=ran(10)>",
    "<iframe srcdoc='<script>parent.ran(11)</script>'></iframe>",
    "javascript:ran(12)//",
    "<a href=https://example.org/13>13</a><link rel=stylesheet href=//example.org/13.css>",
    "<img src=https://example.org/14.png><style>@import '//example.org/14.css';</style>",
    "--><!--<script>ran(15)</script>-->",
    "]]><script>ran(16)</script>",
    "\\u003cscript\\u003eran(17)\\u003c/script\\u003e",
    "${ran(18)}`+ran(18)+`",
    "<math><mtext></form><form><mglyph><style></math><img src onerror=ran(19)>",
    "<object data='data:text/html,<script>parent.ran(20)</script>'></object>",
)

TEXT_TAGS = (0x010D, 0x010E, 0x010F, 0x0110, 0x0131, 0x0132, 0x013B, 0x013C, 0x8298)
INNER_TEXT_TAGS = (0x9003, 0x9004, 0x9290, 0x9286, 0xA420, 0xA430, 0xA431, 0xA433, 0xA434)
"""CIPA DC-008: document, description, make, model, software, date, artist, host, copyright;
dates and their parts, the maker's comment, image and owner, body and lens."""


def photograph(path, text):
    """Write a photograph of a sheet with a text in every text field of its EXIF and comment."""
    picture = Image.new("RGB", (300, 200), (30, 30, 34))
    picture.paste((170, 168, 160), (75, 50, 225, 150))
    exif = Image.Exif()
    for tag in TEXT_TAGS:
        exif[tag] = text
    inner = exif.get_ifd(0x8769)
    for tag in INNER_TEXT_TAGS:
        inner[tag] = text if tag != 0x9286 else b"ASCII\0\0\0" + text.encode()
    picture.save(path, "JPEG", quality=90, exif=exif.tobytes(), comment=text.encode())


def rig(first, *, lamps=1, others=1):
    """A rig whose names are hostile texts from `first` on: so many lamps, so many of the others.

    There can be twenty lamps; of what stands in the light few enough to be worked out.
    """
    texts = list(enumerate(TEXTS[(first + i) % len(TEXTS)] for i in range(max(lamps, others))))
    square = {"width_mm": 200, "height_mm": 200}
    window = Lamp(
        name=f"{TEXTS[first]} window", placement=Placement((-900, 0, 500)), is_window=True, **square
    )
    return Rig(
        title=TEXTS[first],
        sheet=Sheet(width_mm=90, height_mm=50),
        camera=Camera(placement=Placement((0, -300, 400))),
        lamps=(
            window,
            *(
                Lamp(name=f"{text} lamp", placement=Placement((300 + 250 * i, 0, 500)), **square)
                for i, text in texts[:lamps]
            ),
        ),
        cards=tuple(
            Card(name=f"{text} card", placement=Placement((0, 300 + 50 * i, 300)), **square)
            for i, text in texts[:others]
        ),
        shells=(Shell(name=f"{TEXTS[first]} cone", foot_width_mm=500),),
        props=tuple(
            Prop(
                name=f"{text} post",
                shape="post",
                position_mm=(250, -40 * i, 0),
                width_mm=20,
                depth_mm=20,
                height_mm=100,
            )
            for i, text in texts[:others]
        ),
    )
