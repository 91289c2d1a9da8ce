//! Notes against the published example, RFC 8032's vectors, and hostile text.

use proptest::prelude::*;

use super::*;

/// The example of Go's note package (golang.org/x/mod/sumdb/note, BSD 3-clause), which C2SP signed-note is written after.
const PETER: &str = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
const PETER_SECRET: &str = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz";
const TEXT: &str =
    "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n";
const PETER_SIGNED: &str =
    "— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n";
const ENOCH: &str = "EnochRoot+af0cfe78+ATtqJ7zOtqQtYqOo0CpvDXNlMhV3HeJDpjrASKGLWdop";
const ENOCH_SIGNED: &str =
    "— EnochRoot rwz+eBzmZa0SO3NbfRGzPCpDckykFXSdeX+MNtCOXm2/5n2tiOHp+vAF1aGrQ5ovTG01oOTGwnWLox33WWd1RvMc+QQ=\n";

fn key(text: &str) -> VerifierKey {
    VerifierKey::parse(text).unwrap()
}

fn signed(note: &str, known: &[VerifierKey]) -> Result<Vec<String>, BadNote> {
    Note::parse(note)?.signed_by(known).map(|keys| keys.iter().map(|key| key.name().to_owned()).collect())
}

fn seed(text: &str) -> [u8; 32] {
    *Digest::parse(text).unwrap().as_bytes()
}

#[test]
fn the_published_note_is_made_and_believed() {
    let secret = SigningKey::parse(PETER_SECRET).unwrap();
    assert_eq!(secret.verifier().to_string(), PETER);
    assert_eq!(secret.to_secret_text(), PETER_SECRET);
    let note = format!("{TEXT}\n{PETER_SIGNED}");
    assert_eq!(secret.sign(TEXT).unwrap(), note);
    assert_eq!(Note::parse(&note).unwrap().text(), TEXT);
    assert_eq!(signed(&note, &[key(PETER)]), Ok(vec!["PeterNeumann".to_owned()]));
    assert!(!format!("{secret:?}").contains("AYEKF"));

    let both = format!("{TEXT}\n{PETER_SIGNED}{ENOCH_SIGNED}");
    assert_eq!(signed(&both, &[key(PETER)]).unwrap(), ["PeterNeumann"]);
    assert_eq!(signed(&both, &[key(ENOCH), key(PETER)]).unwrap(), ["PeterNeumann", "EnochRoot"]);
    assert_eq!(signed(&both, &[]), Err(BadNote::Unsigned));
    let twice = format!("{TEXT}\n{PETER_SIGNED}{PETER_SIGNED}");
    assert_eq!(signed(&twice, &[key(PETER), key(PETER)]).unwrap(), ["PeterNeumann"]);
}

/// The example in the text of C2SP signed-note, which has an empty line within; its key is not published there.
#[test]
fn the_last_empty_line_divides() {
    let text = "Ognuno sta solo sul cuor della terra\ntrafitto da un raggio di sole:\n\ned è subito sera.\n";
    let line = "— quasimodo.example/salvatore \
                NnugSzTjtVAewIS+Z/iJhUPeFDkO/5QQ2i5ddnGITLlC+EhfLW9oJKONrMouFSQU0xMcXxj99ihAQwaqP3ZekRwNtIc=\n";
    let note = Note::parse(&format!("{text}\n{line}")).unwrap();
    assert_eq!(note.text(), text);
    assert_eq!(note.signed_by(&[key(PETER)]), Err(BadNote::Unsigned));
}

/// RFC 8032 §7.1, tests 1 to 3: secret key, public key, message, signature.
#[test]
fn signatures_are_those_of_the_standard() {
    let vectors = [
        (
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            &[][..],
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        ),
        (
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
            &[0x72],
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        ),
        (
            "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
            "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
            &[0xaf, 0x82],
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
        ),
    ];
    for (secret, public, message, signature) in vectors {
        let signing = SigningKey::from_seed("standard", &seed(secret)).unwrap();
        assert_eq!(signing.verifier.key.as_bytes(), &seed(public));
        let made: String = signing.secret.sign(message).to_bytes().iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(made, signature);
        let bytes: Vec<u8> =
            (0..64).map(|at| u8::from_str_radix(&signature[2 * at..2 * at + 2], 16).unwrap()).collect();
        let signature = Ed25519::from_bytes(&bytes.try_into().unwrap());
        assert!(signing.verifier.key.verify_strict(message, &signature).is_ok());
        assert!(signing.verifier.key.verify_strict(b"other", &signature).is_err());
    }
}

/// The same keys with messages that can be texts of notes, where signing adds nothing and takes nothing away.
#[test]
fn a_note_bears_the_plain_signature_of_its_text() {
    let signing =
        SigningKey::from_seed("standard", &seed("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"))
            .unwrap();
    let note = Note::parse(&signing.sign("one line\n").unwrap()).unwrap();
    assert_eq!(note.signatures[0].bytes, signing.secret.sign(b"one line\n").to_bytes());
}

#[test]
fn a_changed_note_is_not_believed() {
    let note = format!("{TEXT}\n{PETER_SIGNED}");
    let peter = [key(PETER)];
    let bytes = note.as_bytes();
    for at in 0..bytes.len() {
        for flip in [0x01, 0x02, 0x20] {
            let mut changed = bytes.to_vec();
            changed[at] ^= flip;
            let Ok(changed) = String::from_utf8(changed) else { continue };
            assert!(signed(&changed, &peter).is_err(), "byte {at}: {changed}");
        }
        let mut shorter = bytes.to_vec();
        shorter.remove(at);
        if let Ok(shorter) = String::from_utf8(shorter) {
            assert!(signed(&shorter, &peter).is_err(), "without byte {at}: {shorter}");
        }
    }
    let foreign = note.replace("— PeterNeumann", "— PeterNeuman");
    assert_eq!(signed(&foreign, &peter), Err(BadNote::Unsigned));
}

#[test]
fn ids_that_collide_are_told() {
    // Ids have 32 bits: another key of Peter's that bears the id of the first.
    let other = SigningKey::from_seed("PeterNeumann", &[7; 32]).unwrap();
    let mut colliding = other.verifier().clone();
    colliding.id = key(PETER).id;
    let note = format!("{TEXT}\n{PETER_SIGNED}");
    assert!(matches!(signed(&note, &[key(PETER), colliding.clone()]), Err(BadNote::Ambiguous { .. })));
    assert!(matches!(signed(&note, &[colliding]), Err(BadNote::Signature { .. })));
    assert!(matches!(signed(&note, &[other.verifier().clone()]), Err(BadNote::Unsigned)));
}

#[test]
fn hostile_text_is_no_note() {
    let bad_name = PETER_SIGNED.replace("PeterNeumann", "Bad Name");
    let cases = [
        String::new(),
        "\n".to_owned(),
        "\n\n".to_owned(),
        TEXT.to_owned(),
        format!("{TEXT}\n"),
        format!("{TEXT}\n{}", PETER_SIGNED.trim_end()),
        format!("\u{1}{TEXT}\n{PETER_SIGNED}"),
        format!("{TEXT}\r\n\r\n{PETER_SIGNED}"),
        format!("{TEXT}\n{bad_name}"),
        format!("{TEXT}\n{PETER_SIGNED}Unexpected line.\n"),
        format!("{TEXT}\n{}", PETER_SIGNED.repeat(101)),
        format!("{TEXT}\n{}", PETER_SIGNED.replace("AM=", "AM")),
        format!("{TEXT}\n{}", PETER_SIGNED.replace("AM=", "AN=")),
        format!("{TEXT}\n{}", PETER_SIGNED.replace('—', "-")),
        format!("{TEXT}\n— PeterNeumann x08goz==\n"),
        "x".repeat(MAX_BYTES) + "\n\n" + PETER_SIGNED,
    ];
    for case in cases {
        assert!(matches!(Note::parse(&case), Err(BadNote::Form(_))), "{}", case.chars().take(200).collect::<String>());
    }
    let secret = SigningKey::parse(PETER_SECRET).unwrap();
    for text in ["", "\n", "no end", "tab\tin it\n", "cr\r\n"] {
        assert_eq!(secret.sign(text), Err(BadNote::Text), "{text:?}");
    }
    for name in ["", "two words", "plus+plus", "line\nfeed", "wide\u{2003}blank"] {
        assert!(matches!(SigningKey::from_seed(name, &[0; 32]), Err(BadNote::Name { .. })), "{name:?}");
    }
}

#[test]
fn mangled_keys_are_refused() {
    for (from, to) in (0..PETER.len()).flat_map(|from| (from + 1..=PETER.len()).map(move |to| (from, to))) {
        if to - from < PETER.len() {
            assert_eq!(VerifierKey::parse(&PETER[from..to]), Err(BadNote::Key));
        }
    }
    for at in 0..PETER.len() {
        let mut bytes = PETER.as_bytes().to_vec();
        bytes[at] += 1;
        assert_eq!(VerifierKey::parse(std::str::from_utf8(&bytes).unwrap()), Err(BadNote::Key), "byte {at}");
        let mut bytes = PETER_SECRET.as_bytes().to_vec();
        bytes[at] += 1;
        assert!(SigningKey::parse(std::str::from_utf8(&bytes).unwrap()).is_err(), "byte {at}");
    }
    // Another length, another algorithm, each with the id that would be right.
    for bad in [
        "PeterNeumann+cc469956+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TWBADKEY==",
        "PeterNeumann+173116ae+ZRpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
    ] {
        assert_eq!(VerifierKey::parse(bad), Err(BadNote::Key));
    }
    // The neutral element: a key that fits what nobody signed.
    let mut neutral = [0; 32];
    neutral[0] = 1;
    let text = format!("weak+{}+{}", KeyId::of("weak", &neutral), encoded(&[&[ED25519], &neutral]));
    assert_eq!(VerifierKey::parse(&text), Err(BadNote::Key));
}

proptest! {
    #[test]
    fn what_is_signed_is_believed_and_comes_back(lines in proptest::collection::vec("[^\\p{Cc}]{1,40}", 1..6)) {
        let text = lines.join("\n") + "\n";
        let secret = SigningKey::from_seed("site/x", &[3; 32]).unwrap();
        let note = Note::parse(&secret.sign(&text).unwrap()).unwrap();
        prop_assert_eq!(note.text(), &text);
        prop_assert_eq!(note.signed_by(std::slice::from_ref(secret.verifier())).unwrap().len(), 1);
        prop_assert!(SigningKey::parse(&secret.to_secret_text()).is_ok());
    }

    #[test]
    fn no_text_makes_reading_panic(whole in "(\\PC|\n|— |\\+|=){0,60}") {
        if let Ok(note) = Note::parse(&whole) {
            prop_assert!(whole.starts_with(note.text()));
            prop_assert!(note.signed_by(&[key(PETER)]).is_err());
        }
        let _ = (VerifierKey::parse(&whole), SigningKey::parse(&whole));
    }
}
