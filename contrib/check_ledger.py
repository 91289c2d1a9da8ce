#!/usr/bin/env python3
"""Checks an exported ledger or a certificate of twinwhite, from the description in ledger-format.md alone. Needs Python 3.8 only.
    check_ledger.py FOLDER [--head FILE_OR_CODE]...                      what `audit export` wrote
    check_ledger.py CERTIFICATE [--head FILE_OR_CODE]... [--key KEY]     what was handed out
 Exit code 0: all holds. 1: something does not, and it says what."""
import argparse, base64, hashlib, json, pathlib, sys

def sha(*parts):
    return hashlib.sha256(b"".join(parts)).digest()

def must(holds, what):
    None if holds else sys.exit(f"NOT proven: {what}")

# Ed25519, RFC 8032 section 5.1.7, in affine coordinates: slow and short.
P, L = 2**255 - 19, 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, -1, P) % P
def add(a, b):
    product = D * a[0] * b[0] * a[1] * b[1] % P
    x = (a[0] * b[1] + b[0] * a[1]) * pow(1 + product, -1, P)
    return x % P, (a[1] * b[1] + a[0] * b[0]) * pow(1 - product, -1, P) % P
def times(n, point):
    total = (0, 1)
    while n:
        total = add(total, point) if n & 1 else total
        point, n = add(point, point), n >> 1
    return total
def point(data):
    y = int.from_bytes(data, "little")
    sign, y = y >> 255, y & (1 << 255) - 1
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    x = x if (x * x - square) % P == 0 else x * pow(2, (P - 1) // 4, P) % P
    if y >= P or (x * x - square) % P or (x == 0 and sign):
        raise ValueError("no point of the curve")
    return (P - x if x & 1 != sign else x), y
def signed_by(public, text, signature, base=point((4 * pow(5, -1, P) % P).to_bytes(32, "little"))):
    s = int.from_bytes(signature[32:], "little")
    k = int.from_bytes(hashlib.sha512(signature[:32] + public + text).digest(), "little") % L
    return s < L and times(s, base) == add(point(signature[:32]), times(k, point(public)))

def read_head(note):
    note = note[max(note.find("twinwhite/"), 0):] if "\n\n\u2014" in note else note
    text, _, signatures = note.partition("\n\n")
    origin, size, root = text.split("\n")[:3]
    bits = int.from_bytes(sha(text.encode() + b"\n")[:8], "big") >> 4
    code = "".join("0123456789ABCDEFGHJKMNPQRSTVWXYZ"[bits >> shift & 31] for shift in range(55, -1, -5))
    return {"origin": origin, "size": int(size), "root": base64.b64decode(root), "text": text.encode() + b"\n",
            "code": "-".join((code[:4], code[4:8], code[8:])), "signatures": signatures.splitlines()}

def check_signature(head, key):
    name, number, public = key.split("+", 2)
    public = base64.b64decode(public)
    known = sha(name.encode(), b"\n", public)[:4]
    must(known.hex() == number and public[0] == 1 and name == head["origin"], f"{key} is no key for {head['origin']}")
    of_key = [base64.b64decode(line.split(" ")[2]) for line in head["signatures"] if line.startswith(f"\u2014 {name} ")]
    of_key = [data[4:] for data in of_key if data[:4] == known]
    must(of_key and all(signed_by(public[1:], head["text"], data) for data in of_key),
         f"the head of {head['size']} entries is not signed by {key}")

def leaf(entry):
    lines = ["twinwhite entry 1", entry["site"], str(entry["seq"]), entry["time"], entry["kind"], entry["body"]]
    must(not any("\n" in line for line in lines), f"entry {entry['seq']} holds a line feed")
    return sha(b"\0", "".join(line + "\n" for line in lines).encode())

def walk(f, s, ends, path):
    """RFC 9162 sections 2.1.3.2 and 2.1.4.2: what stands to the left goes into all ends, what stands to the right into the last."""
    for p in path:
        if s == 0: return None
        if f & 1 or f == s:
            ends = [sha(b"\1", p, end) for end in ends]
            while f and not f & 1:
                f, s = f >> 1, s >> 1
        else:
            ends = [*ends[:-1], sha(b"\1", ends[-1], p)]
        f, s = f >> 1, s >> 1
    return ends if s == 0 else None

def consistent(small, large, path):
    if small["size"] == large["size"]:
        return not path and small["root"] == large["root"]
    f, s = small["size"] - 1, large["size"] - 1
    path = [small["root"], *path] if small["size"] & f == 0 else path
    while f & 1:
        f, s = f >> 1, s >> 1
    return small["size"] > 0 and bool(path) and walk(f, s, [path[0]] * 2, path[1:]) == [small["root"], large["root"]]

def check_certificate(certificate, kept, key):
    entry, proof, own = certificate["entry"], certificate["proof"], read_head(certificate["head"])
    unpacked = lambda hashes: [base64.b64decode(text) for text in hashes]
    must(key in (None, certificate["key"]), "the certificate is signed by another key than yours")
    check_signature(own, certificate["key"])
    must(own["origin"].startswith(f"twinwhite/{entry['site']}/"), "the head is of another site")
    must(proof["size"] == own["size"] > proof["index"] == entry["seq"] - 1 >= 0, "the proof is for another place than the entry's")
    must(walk(proof["index"], own["size"] - 1, [leaf(entry)], unpacked(proof["hashes"])) == [own["root"]],
         "the entry is not under the head: one of the two was changed")
    for text in kept:
        if "\n" not in text:
            must(text.upper() == own["code"], f"its head has the code {own['code']}, yours is {text}")
            continue
        other, way = read_head(text), certificate.get("consistency") or {"size": own["size"], "hashes": []}
        must(other["size"] in (way["size"], own["size"]), f"nothing connects its head of {own['size']} entries with yours of {other['size']}")
        small, large = sorted((own, other), key=lambda head: head["size"])
        path = unpacked(way["hashes"]) if other["size"] == way["size"] else []
        must(own["origin"] == other["origin"] and consistent(small, large, path), "your head and its head are not of one history")
    print(f"Proven: entry {entry['seq']} of {entry['site']}, {entry['kind']}, written {entry['time']}; code {own['code']}")
    print(entry["body"] if kept else "But held against nothing that you kept: whoever has any key can make such a file.")

def check_export(folder, kept):
    listed = [json.loads(line) for line in (folder / "heads.jsonl").open(encoding="utf-8")]
    heads = [(read_head(line["note"]), line) for line in listed] + [(read_head(text), None) for text in kept if "\n" in text]
    heads.sort(key=lambda pair: pair[0]["size"])
    codes = {text.upper() for text in kept if "\n" not in text}
    peaks, count, key, origin, pruned, lost = [], 0, None, None, set(), set()
    for line in (folder / "entries.jsonl").open(encoding="utf-8"):
        entry, count = json.loads(line), count + 1
        must(entry["seq"] == count, f"entry {count} is missing")
        root, size = bytes.fromhex(entry["leaf"]), 1
        now, shorter = leaf(entry), entry["kind"] == "reading" and "spectrum_pruned" in json.loads(entry["body"])
        must(now == root or shorter, f"entry {count} does not match its leaf")
        lost.update([(count, entry["leaf"], now.hex())] if now != root else [])
        key = json.loads(entry["body"])["key"] if entry["kind"].startswith("key-") else key
        named = json.loads(entry["body"])["entries"] if entry["kind"] == "spectra-pruned" else []
        pruned.update((one["seq"], one["was"], one["now"]) for one in named if one["seq"] < count)
        origin = origin or f"twinwhite/{entry['site']}/{entry['leaf'][:16]}"
        while peaks and peaks[-1][0] == size:
            root, size = sha(b"\1", peaks.pop()[1], root), size * 2
        peaks.append((size, root))
        while heads and heads[0][0]["size"] == count:
            head, line = heads.pop(0)
            for _, left in reversed(peaks[:-1]):
                root = sha(b"\1", left, root)
            fits = head["root"] == root and head["origin"] == origin and (not line or line["root"] == root.hex())
            must(fits, f"a head of {count} entries is not of this history: an entry up to {count} was changed, or the head")
            root = peaks[-1][1]
            codes.discard(head["code"])
            check_signature(head, key) if line else None
    must(not heads and not codes, f"a head that is known is not of this ledger: {codes or [head['size'] for head, _ in heads]}")
    must(lost <= pruned, f"entry {min(lost - pruned, default=[0])[0]} does not match its leaf, and no later entry says that its spectrum was taken out")
    print(f"Holds: {count} entries, {len(listed)} signed heads, {len(kept)} kept elsewhere; {len(lost)} spectra pruned")

given = argparse.ArgumentParser(usage=__doc__)
given.add_argument("what", type=pathlib.Path), given.add_argument("--head", action="append", default=[]), given.add_argument("--key")
given = given.parse_args()
try:
    kept = [open(name, encoding="utf-8").read() if pathlib.Path(name).is_file() else name for name in given.head]
    one = None if given.what.is_dir() else json.loads(given.what.read_text(encoding="utf-8"))
    check_certificate(one, kept, given.key) if one else check_export(given.what, kept)
except (ValueError, KeyError, TypeError, IndexError, AttributeError, OSError) as bad:
    must(False, f"it is not of the form described ({type(bad).__name__}: {bad})")
