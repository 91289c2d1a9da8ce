#!/usr/bin/env python3
"""Checks an exported ledger or a certificate of twinwhite, from the description in ledger-format.md alone. Needs Python 3.8 only.
    check_ledger.py FOLDER [--head FILE_OR_CODE]...                      what `audit export` wrote
    check_ledger.py CERTIFICATE [--head FILE_OR_CODE]... [--key KEY]     what was handed out
 Exit code 0: all holds, as far as it says. 1: something does not, and it says what."""
import argparse, base64, functools, hashlib, json, pathlib, re, sys

def sha(*parts):
    return hashlib.sha256(b"".join(parts)).digest()
def must(holds, what):
    return holds or sys.exit(f"NOT proven: {what}")

# Ed25519, RFC 8032 section 5.1.7, in affine coordinates: slow and short.
P, L = 2**255 - 19, 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, -1, P) % P
def add(a, b):
    x, y, product = a[0] * b[1] + b[0] * a[1], a[1] * b[1] + a[0] * b[0], D * a[0] * b[0] * a[1] * b[1]
    return x * pow(1 + product, -1, P) % P, y * pow(1 - product, -1, P) % P
def times(n, point):
    rest = times(n >> 1, add(point, point)) if n else (0, 1)
    return add(rest, point) if n & 1 else rest
def point(data):
    sign, y = divmod(int.from_bytes(data, "little"), 2**255)
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    root = pow(square, (P + 3) // 8, P)
    found = [x for x in (root, root * pow(2, (P - 1) // 4, P) % P) if (x * x - square) % P == 0]
    must(y < P and found and (found[0] or not sign), "a key or signature is no point of the curve")
    return (P - found[0] if found[0] & 1 != sign else found[0]), y
def signed_by(public, text, signature, base=point((4 * pow(5, -1, P) % P).to_bytes(32, "little"))):
    s, r = int.from_bytes(signature[32:], "little"), point(signature[:32])
    k = int.from_bytes(hashlib.sha512(signature[:32] + public + text).digest(), "little") % L
    return len(signature) == 64 and s < L and times(s, base) == add(r, times(k, point(public)))

# What is read is read strictly: no field twice, none unknown, base64 in its one form.
def unique(pairs):
    return dict(pairs) if len(dict(pairs)) == len(pairs) else must(False, f"a field stands twice in {place}")
read_json = json.JSONDecoder(object_pairs_hook=unique).decode
def only(found, **kinds):
    must({name: type(found[name]) for name in found} == kinds, f"{place} has other fields than {', '.join(kinds)}, or of another kind")
def unpack(text):
    data = base64.b64decode(text)
    return data if base64.b64encode(data).decode() == text else must(False, f"{text} in {place} is not base64 in its one form")
def read_lines(path):
    global place
    for number, line in enumerate(path.open(encoding="utf-8"), 1):
        place = f"line {number} of {path.name}"
        yield read_json(line)
DIGITS, WORD = "0123456789ABCDEFGHJKMNPQRSTVWXYZ", "[^\0-\x20]+"
HEAD = f"(twinwhite/{WORD}\n(?:0|[1-9][0-9]*)\n{WORD}\n(?:(?!\u2014 |twinwhite/)[^\0-\x1f]+\n)*)%s((?:\u2014 {WORD} {WORD}\n)+)"
def read_head(note):
    text, signatures = must(re.fullmatch(HEAD % "\n", note), f"{place} holds no signed head, or more than that").groups()
    (origin, size, root), bits = text.split("\n")[:3], int.from_bytes(sha(text.encode())[:8], "big") >> 4
    code = "-".join("".join(DIGITS[bits >> shift & 31] for shift in range(top, top - 20, -5)) for top in (55, 35, 15))
    return {"origin": origin, "size": int(size), "root": unpack(root), "text": text.encode(), "code": code, "signatures": signatures}
def read_kept(name):
    """The last head in a file, which may be a mail: indented, quoted, without the empty line. Or a code as people write it."""
    if pathlib.Path(name).is_file():
        text = "\n" + pathlib.Path(name).read_text(encoding="utf-8", errors="replace") + "\n"
        found = re.findall(HEAD % "", re.sub(r"\s*\n[>\s]*", "\n", text))
        return read_head("\n".join(found[-1])) if found else sys.exit(f"--head {name}: there is no signed head in this file")
    code = re.sub("[- ]", "", name.upper().translate(str.maketrans("OIL", "011")))
    typed = re.fullmatch(f"([{DIGITS}]{{4}})" * 3, code) or sys.exit(f"--head {name}: this is neither a file nor a code like 7ZK3-0QWE-11M9")
    return {"code": "-".join(typed.groups())}

def check_signature(head, key):
    name, number, coded = key.split("+", 2)
    public, known = unpack(coded), sha(name.encode(), b"\n", unpack(coded))[:4]
    must(known.hex() == number and len(public) == 33 and public[0] == 1 and name == head["origin"], f"{key} is no key for {head['origin']}")
    by_key = [data for data in map(unpack, re.findall(f"\u2014 {re.escape(name)} (.+)", head["signatures"])) if data[:4] == known]
    must(by_key and all(signed_by(public[1:], head["text"], data[4:]) for data in by_key), f"the head of {head['size']} is not signed by {key}")

def leaf(entry):
    text = "\n".join(("twinwhite entry 1", entry["site"], str(entry["seq"]), entry["time"], entry["kind"], entry["body"], ""))
    must(text.count("\n") == 6, f"entry {entry['seq']} holds a line feed")
    return sha(b"\0", text.encode())
def climb(m, n, path, whole=None, last=None):
    """The roots of the first m and of all n leaves, from the root `whole` of the m (RFC 9162 section 2.1.4) or the leaf `last` of the m (2.1.3)."""
    if n == 1 or m == n and last is None:
        [known] = [*path, *(one for one in (whole, last) if one)]
        return known, known
    (*path, other), k = path, 1 << (n - 1).bit_length() - 1
    if m <= k:
        old, new = climb(m, k, path, whole, last)
        return old, sha(b"\1", new, other)
    return (sha(b"\1", other, root) for root in climb(m - k, n - k, path, None, last))

def check_certificate(given, kept, key):
    only({"consistency": {}, **given}, twinwhite_certificate=int, entry=dict, proof=dict, head=str, key=str, code=str, consistency=dict)
    entry, proof, own = given["entry"], given["proof"], read_head(given["head"])
    way = given.get("consistency", {"size": own["size"], "hashes": []})
    only(entry, site=str, seq=int, time=str, kind=str, body=str), only(proof, size=int, index=int, hashes=list), only(way, size=int, hashes=list)
    seq, hashes, between = entry["seq"], list(map(unpack, proof["hashes"])), list(map(unpack, way["hashes"]))
    must(given["twinwhite_certificate"] == 1 and given["code"] == own["code"], "its form is not 1, or its code not that of its head")
    must(key in (None, given["key"]), "the certificate is signed by another key than yours")
    must(own["origin"].startswith(f"twinwhite/{entry['site']}/"), "the head is of another site")
    must(proof["size"] == own["size"] > proof["index"] == seq - 1 >= 0, "the proof is for another place than the entry's")
    must(own["root"] in climb(seq, own["size"], hashes, last=leaf(entry)), "the entry is not under the head: one of the two was changed")
    for other in kept:
        size = other.get("size", own["size"])
        must("size" in other or other["code"] == own["code"], f"its head has the code {own['code']}, yours is {other['code']}")
        must(size in (way["size"], own["size"]), f"nothing connects its head of {own['size']} entries with yours of {size}")
        small, large = sorted((own, {**own, **other}), key=lambda head: head["size"])
        roots = climb(small["size"], large["size"], between if size == way["size"] else [], whole=small["root"])
        must(small["origin"] == large["origin"] and [*roots] == [small["root"], large["root"]], "your head and its head are not of one history")
    check_signature(own, given["key"])
    fixed = any(other.get("size", seq) >= seq for other in kept)
    older = f"But your head is older than it and fits any other entry {seq} too. Ask somebody else for the code, or a head of {seq} entries or more."
    nothing = "But it was held against nothing that you kept: whoever has any key can make such a file."
    print(f"{'Proven' if fixed else 'Its parts agree'}: entry {seq} of {entry['site']}, {entry['kind']}, written {entry['time']}; code {own['code']}")
    print(entry["body"], *[] if fixed else [older] if kept else [nothing], sep="\n")

def check_export(folder, kept):
    listed = [(read_head(line["note"]), line) for line in read_lines(folder / "heads.jsonl")]
    heads = sorted([*listed, *((one, None) for one in kept if "size" in one)], key=lambda pair: pair[0]["size"])
    codes = {one["code"] for one in kept if "size" not in one}
    peaks, count, key, origin, pruned, lost = [], 0, None, None, set(), set()
    for entry in read_lines(folder / "entries.jsonl"):
        count, now, root, kind = count + 1, leaf(entry), bytes.fromhex(entry["leaf"]), entry["kind"]
        must(entry["seq"] == count, f"entry {count} is missing")
        must(now == root or kind == "reading" and "spectrum_pruned" in read_json(entry["body"]), f"entry {count} does not match its leaf")
        lost.update([(count, entry["leaf"], now.hex())] if now != root else [])
        key = read_json(entry["body"])["key"] if kind.startswith("key-") else key
        named = read_json(entry["body"])["entries"] if kind == "spectra-pruned" else []
        pruned.update((one["seq"], one["was"], one["now"]) for one in named if one["seq"] < count)
        origin = origin or f"twinwhite/{entry['site']}/{entry['leaf'][:16]}"
        for _ in range((count & -count).bit_length() - 1):
            root = sha(b"\1", peaks.pop(), root)
        peaks.append(root)
        while heads and heads[0][0]["size"] == count:
            (head, line), root = heads.pop(0), functools.reduce(lambda right, left: sha(b"\1", left, right), reversed(peaks))
            listed_so = not line or (line["size"], line["root"], line["code"]) == (count, root.hex(), head["code"])
            must(listed_so and (head["root"], head["origin"]) == (root, origin), f"a head of {count} entries is not of this history: "
                 f"an entry up to {count} was changed, or the head")
            codes.discard(head["code"])
            check_signature(head, key) if line else None
    must(not heads, f"it has {count} entries, shorter than a head that is known, of {[head['size'] for head, _ in heads]}: the last were cut off")
    must(not codes, f"no head of it has the code {', '.join(codes)}: was that typed right, and is it of this ledger?")
    must(lost <= pruned, f"entry {min(lost - pruned, default=[0])[0]} does not match its leaf, and no later entry says that it was pruned")
    print(f"Holds: {count} entries, {'' if listed else 'nothing was signed: '}{len(listed)} signed heads, {len(kept)} kept elsewhere; {len(lost)} spectra pruned")

given = argparse.ArgumentParser(usage=__doc__)
given.add_argument("what", type=pathlib.Path), given.add_argument("--head", action="append", default=[]), given.add_argument("--key")
given = given.parse_args()
place = given.what.name
try:
    kept, text = list(map(read_kept, given.head)), None if given.what.is_dir() else given.what.read_text(encoding="utf-8")
    check_export(given.what, kept) if text is None else check_certificate(read_json(text), kept, given.key)
except (ValueError, KeyError, TypeError, IndexError, AttributeError, OSError) as bad:
    must(False, f"{place} is not of the form described ({type(bad).__name__}: {bad})")
