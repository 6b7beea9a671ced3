"""Texts that programs stumble over: numbers, units, words, bytes, shapes of YAML and CSV."""

from __future__ import annotations

NUMBERS = (
    "0", "-0", "0.0", "-1", "1", "2", "+3", "1e400", "-1e400", "1e30", "1e-30", "9e29", "1e308", "1e-308", "5e-324",
    "nan", "NaN", ".nan", "inf", "-inf", ".inf", "Infinity", "1e", "e5", ".", "-", "+", "--1", "1.2.3", "1_000",
    "0x10", "0b1", "010", "1/0", "0/0", "1/3", "2 3/4", "-2 3/4", "2-3/4", "99999999999999999999", "1,5", "1.500,00",
    "1,500.00", "١٢", "１２", "½", "²", "1e+31", "1e31", "4294967296", "9223372036854775807", "9223372036854775808",
    "1" * 199, "0." + "0" * 150 + "1", "1e0000000000000000000000000005", "1E5", "1 e 5", "12 34", "True", "1\u00a0000",
    "−5", "±", "± 5", "5 ± -1", "5 ± 1e400", "5 ± nan", "5±5±5", "5 +/- 1", "1e15", "1e9", "1e12", "1e-9",
)  # fmt: skip
UNITS = (
    "mm", "in", "thou", "cc", "rpm", "deg", "g", "kg", "N", "kN", "m", "km", "um", "light_year", "parsec", "mm2", "mm3",
    "in3", "degC", "degF", "K", "delta_degC", "", " ", "mm mm", "mm**99", "mm^-1", "mm**1e9", "Ym", "µm", "μm", "MM",
    "furlong", "planck_length", "__import__('os')", "mm;in", "%", "percent", "dB", "pH", "Hz", "N/mm", "rpm/rpm",
    "mm * mm", "(mm)", "((((mm))))", "mm/0", "1/mm", "hogshead", "USD", "inch\u200b", "\u202emm", "Å", "″", '"', "'",
)  # fmt: skip
WORDS = (
    "", " ", "~", "null", "yes", "no", "true", "on", "off", "-", "--", "---", "...", "*a", "&a b", "!!python/object:os.system",
    "!!python/object/apply:os.system ['touch kw-was-here']", "!!binary aGk=", "!tag x", "{{ 7*7 }}", "{% raw %}", "${HOME}",
    "$(touch kw-was-here)", "`touch kw-was-here`", "__import__('os').system('touch kw-was-here')", "%s%s%n", "../../etc/passwd",
    "<script>kw()</script>", "</td><img src=x onerror=kw()>", "=1+1", "+1", "-1+1", "@SUM(1)", "\t=1", "'=1", '"=1', "x;=1+1",
    "＝1+1", "|", "a|b", "a\\|b", "a\nb", "a\rb", "\u2028", "\u2029", "\x85", "\ufeff", "\u200b", "\u202e\u05d0\u05d1", "\u05e9\u05dc\u05d5\u05dd",
    "مرحبا", "e\u0301", "\U0001f525", "\ud800", "\x00", "\x1b[31m", "\x07", "\x7f", "a" * 300, "x" * 5000, "con", "nul",
    ".", "..", "/", "~root", "id", "kind", "g05 g05", "b72,b73", "#", "a # b", "a: b", "a:b", "[", "]", "{", "}", "[]", "{}", ",", ";",
    "block", "blocks", "gasket", "piston", "compression", "rev_ceiling", "kitwright", "0.5 mm up", "0.5 mm down", "up", "down",
)  # fmt: skip
LINES = (
    "<<: *a", "a: &a [x]", "b: *a", "? [a, b]\n: c", "? ", "- - - - -", "%YAML 1.1", "%TAG ! tag:x,2000:", "---", "...",
    "blocks:", "blocks: 5", "blocks: [5, {}]", "pistons: {id: x}", "goals: []", "goals: {compression: }", "plan: [1]",
    "catalogue: /dev", "catalogue: .", "catalogue: ''", "catalogue: plan.yaml", "catalogue: {a: b}", "measured: [{}]", "measured: 5",
    "engines: {}", "engines: {a: , b: }", "engines: {a: {engines: {}}}", "budget: -1", "budget: 1e400", "advice: {compression: [1, 2]}",
    "parts: {use: {gasket: [g05, g05, g05, g05, g05]}}", "allow: {gaskets: 99999999999}", "allow: {machining: [mill, mill]}",
    "conditions: {polytropic: 0}", "conditions: {temperatures: {rod: -300 degC}}", "reference: {pushrod: 0 mm}", "units: furlong",
    "\tx: y", "x:\ty", "'", '"', "key: |\n  text", "key: >-\n  text", "? a", ": b", "- x", "tolerance: maybe", "x: !!str y",
)  # fmt: skip
BYTES = (
    b"\x00", b"\xff", b"\xfe\xff", b"\xff\xfe", b"\xef\xbb\xbf", b"\xc0\x80", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\r", b"\r\n", b"\n",
    b"\t", b"\x1a", b"\x85", b"\xc2\x85", b"\xe2\x80\xa8", b"\xe2\x80\xae", b"\xc2\xad", b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"\x1b[2J", b'"', b"'", b",", b";",
    b": ", b"- ", b"[", b"]", b"{", b"}", b"&a ", b"*a", b"!!", b"#", b"%", b"|", b">", b"\x7f", b"\xc2\xb1", b"\xc2\xa0",
)  # fmt: skip


def bombs(size: int) -> tuple[bytes, ...]:
    """Small shapes that unfold, nest or repeat; ``size`` is how far."""
    levels = "\n".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 12))
    return (
        f"a0: &a0 [lol]\n{levels}\nblocks: *a11\n".encode(),
        b"blocks: " + b"[" * size,
        b"blocks: " + b"[" * size + b"]" * size,
        b"blocks: " + b"{a: " * size,
        b"- " * size + b"x\n",
        b"? " * size + b"x\n",
        b"a: " * size,
        b"".join(b" " * n + b"a:\n" for n in range(min(size, 2000))),
        b"blocks:\n" + b"- {id: x, bore: 72 mm}\n" * size,
        b"blocks:\n" + b"".join(b"- id: b%d\n  bore: 72 mm\n  block_height: 142 mm\n" % n for n in range(size)),
        b"".join(b"k%d: x\n" % n for n in range(size)),
        b"blocks:\n- id: '" + b"x" * size + b"'\n",
        b"blocks:\n- id: " + b"x " * size + b"\n",
        b"#" * size + b"\nblocks: []\n",
        b"# x\n" * size,
        b"\n" * size + b"blocks: []\n",
        b"blocks: |\n" + b"  x\n" * size,
        b'blocks: "' + b"\\n" * size + b'"\n',
        b'blocks: "' + b"\n\n" * size + b'"\n',
        b"blocks: !!" + b"x" * size,
        b"blocks: &" + b"x" * size + b" y",
        b"%" * size,
        b"\x00" * size,
        b"\xff" * size,
        b"a,b,c\n" * size,
        b"id,length [mm],big_end [mm],pin [mm]\n" + b"r1,85,30,16\n" * size,
        b"id,length [mm],big_end [mm],pin [mm]\n" + b"".join(b"r%d,85,30,16\n" % n for n in range(size)),
        b"," * size + b"\n" + b"," * size + b"\n",
        b'"' * size,
        b'id\n"' + b"x\n" * size,
        b"id;" * size,
        b"\t".join([b"id"] * size),
        b"sep=;\n" * size,
        b"id,stroke [mm]\n" + b"x" * size + b",5\n",
        ("id,stroke [mm]\n" + "é" * size).encode("utf-16"),
        ("id,stroke [mm]\n" + "é" * size).encode("cp1252"),
    )
