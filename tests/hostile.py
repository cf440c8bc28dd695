"""Texts that try to become more than text: markup, scripts, marks of templates, escapes."""

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
