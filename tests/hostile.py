"""Strings that firmware, or whoever holds a laptop's key, may send: one table for all.

Each exit (pages, CSV, mail, webhooks, logs, file names, terminals) has one test that
carries all of them through and says what "without effect" means there.
"""

HOSTILE: dict[str, str] = {
    "markup": "<script>alert(1)</script>",
    "markup in an attribute": '" onmouseover="alert(1)" x=\'',
    "end of a comment": "--><svg/onload=alert(1)>",
    "entity": "&lt;b&gt;&#x3C;i&#x3E;",
    "address": "javascript:alert(1)",
    "formula": '=HYPERLINK("http://x.example","pay")',
    "formula behind blanks": "  @SUM(1+1)*cmd|' /C calc'!A0",
    "formula, full width": "\N{FULLWIDTH EQUALS SIGN}1+1",
    "plus": "+1-800-EXAMPLE",
    "quotation marks": '","","","owned","',
    "mail header": "a\r\nBcc: everyone@example.org\r\n\r\nowned",
    "encoded word": "=?utf-8?q?x=0D=0ABcc:_a=40example.org?=",
    "log line": 'x"}\n{"level": "ERROR", "message": "forged"}',
    "escape sequence": "\x1b[2J\x1b]0;owned\x07\x9b31m",
    "back and over": "safe\b\b\b\bworn\rdone",
    "turned round": "CC\N{RIGHT-TO-LEFT OVERRIDE}75-XX\N{LEFT-TO-RIGHT ISOLATE}",
    "line separator": "one\N{LINE SEPARATOR}two\N{PARAGRAPH SEPARATOR}three",
    "NUL": "before\0after",
    "path": "../../../../etc/passwd",
    "path of Windows": "..\\..\\con:\\aux.txt",
    "format string": "%s%n%x {0.__class__} ${7*7}",
    "template": "{{7*7}}{% raw %}<%= 7*7 %>#{7*7}",
    "statement": "'; DROP TABLE packs; --",
    "wild cards": "%_*?[a-z]\\",
    "half a character": "\ud800",
    "very long": "W" * 100_000,
    "many marks": "e" + "\u0301" * 300,
    "nothing to see": "\N{ZERO WIDTH SPACE}\N{WORD JOINER}\N{ZERO WIDTH NO-BREAK SPACE}",
}
"""What it tries, and the string."""

SENDABLE = {
    name: shown[:128]
    for name, text in HOSTILE.items()
    if (
        shown := "".join(
            c
            for c in text
            if not (ord(c) < 0x20 or 0x7F <= ord(c) < 0xA0 or 0xD800 <= ord(c) < 0xE000)
        )
    )
}
"""As much of each as a report may hold: what a laptop's key can bring into a store."""
