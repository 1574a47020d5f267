#!/usr/bin/env python3
"""Random expressions and what an independent simulator makes of them.

Recipe: `python3 expressions.py > expressions.tsv` with Icarus Verilog 11.0 (Debian package iverilog) and Python 3.11.
Rows: width of the result, expression, values of A B C (1 bit) D (4 bits) E (8 bits), the result; most significant first.
"""
import random, subprocess, sys, tempfile, os

NAMES = {"A": 1, "B": 1, "C": 1, "D": 4, "E": 8}
UNARY = ["+", "-", "!", "~", "&", "~&", "|", "~|", "^", "~^", "^~"]
BINARY = ["*", "/", "%", "+", "-", "<<", ">>", "<<<", ">>>", "<", "<=", ">", ">=", "==", "!=", "===", "!==",
          "&", "^", "^~", "~^", "|", "&&", "||"]


def literal(r):
    kind = r.randrange(5)
    if kind == 0:
        return str(r.randrange(12))
    if kind == 1:
        w = r.randint(1, 8)
        return f"{w}'b" + "".join(r.choice("0011xz") for _ in range(w))
    if kind == 2:
        w = r.randint(2, 12)
        return f"{w}'{r.choice(['', 's'])}h{r.randrange(1 << w):x}"
    if kind == 3:
        w = r.randint(2, 8)
        return f"{w}'{r.choice(['', 's'])}d{r.randrange(1 << w)}"
    return f"{r.randint(1, 3)}'sb" + "".join(r.choice("01") for _ in range(1))


def primary(r, depth):
    k = r.random()
    if depth <= 0 or k < 0.35:
        n = r.choice(list(NAMES))
        if r.random() < 0.25 and NAMES[n] > 1:
            hi = r.randrange(NAMES[n])
            return f"{n}[{hi}]" if r.random() < 0.5 else f"{n}[{hi}:{r.randint(0, hi)}]"
        return n
    if k < 0.5:
        return literal(r)
    if k < 0.75:
        return "(" + expr(r, depth - 1) + ")"
    if k < 0.85:
        return "{" + ", ".join(sized(r, depth - 1) for _ in range(r.randint(1, 3))) + "}"
    if k < 0.9:
        return "{" + f"{r.randint(1, 3)}" + "{" + sized(r, depth - 1) + "}}"
    return r.choice(["$signed", "$unsigned"]) + "(" + expr(r, depth - 1) + ")"


def sized(r, depth):
    """an operand whose size is not left to the implementation, as concatenations want"""
    n = r.choice(list(NAMES))
    return r.choice([n, "~" + n, f"({n} & E)", f"({n} ^ D)", f"4'b{r.randrange(16):04b}", "2'b1x", f"&{n}", f"({n} == D)"])


def expr(r, depth):
    parts = []
    for _ in range(r.randint(1, 4)):
        if parts:
            parts.append(r.choice(BINARY))
        u = r.choice(UNARY) + " " if r.random() < 0.2 else ""
        parts.append(u + primary(r, depth))
    text = " ".join(parts)
    if r.random() < 0.12:
        text = f"{text} ? {primary(r, depth - 1)} : {primary(r, depth - 1)}"
    return text


def value(r, width):
    known = r.random() < 0.7
    return "".join(r.choice("01" if known else "0011xz") for _ in range(width))


def power(r):
    return r.choice([f"D ** {r.randrange(6)}", f"2 ** D", f"E ** 2 + D", f"3 ** A ** B", f"$signed(D) ** 3", "D ** D[1:0] * 2"])


def main():
    r = random.Random(20251125)
    rows = []
    for i in range(420):
        e = power(r) if i % 21 == 20 else expr(r, 2)
        rows.append((r.choice([1, 1, 4, 8, 16, 33]), e, [{n: value(r, w) for n, w in NAMES.items()} for _ in range(3)]))
    v = ["module t; reg A, B, C; reg [3:0] D; reg [7:0] E;"]
    for i, (w, e, _) in enumerate(rows):
        v.append(f"wire [{w - 1}:0] y{i} = {e};")
    v.append("initial begin")
    for i, (w, e, sets) in enumerate(rows):
        for s in sets:
            v.append(" ".join(f"{n} = {NAMES[n]}'b{s[n]};" for n in NAMES) + f' #1 $display("%b", y{i});')
    v.append("end endmodule")
    with tempfile.TemporaryDirectory() as d:
        src, out = os.path.join(d, "t.v"), os.path.join(d, "t")
        open(src, "w").write("\n".join(v))
        subprocess.run(["iverilog", "-g2005", "-o", out, src], check=True)
        got = subprocess.run(["vvp", out], check=True, capture_output=True, text=True).stdout.split()
    k = 0
    for w, e, sets in rows:
        for s in sets:
            assert len(got[k]) == w
            print(w, e, *(s[n] for n in NAMES), got[k], sep="\t")
            k += 1
    assert k == len(got)


main()
