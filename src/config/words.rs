//! The words that mistakes are told in: names of values, lists, and the word that was likely meant.

use toml::de::DeValue;

/// The text with everything a terminal might obey spelled out.
pub(super) fn printable(text: &str) -> String {
    let spelled = |c: char| if c.is_control() { c.escape_default().collect() } else { String::from(c) };
    text.chars().map(spelled).collect()
}

/// A value in people's words.
pub(super) fn words_for(value: &DeValue<'_>) -> String {
    let cut = |text: &str| text.chars().take(80).collect::<String>();
    match value {
        DeValue::String(text) => format!("the text \"{}\"", cut(text)),
        DeValue::Integer(number) => format!("the number {}", cut(&number.to_string())),
        DeValue::Float(number) => format!("the number {}", cut(&number.to_string())),
        DeValue::Boolean(truth) => format!("the word {truth}"),
        DeValue::Datetime(moment) => format!("the date or time {moment}"),
        DeValue::Array(items) if items.is_empty() => "an empty list".to_owned(),
        DeValue::Array(items) => match items.len() {
            1 => "a list of one".to_owned(),
            n => format!("a list of {n}"),
        },
        DeValue::Table(table) if table.is_empty() => "an empty table { }".to_owned(),
        DeValue::Table(table) => {
            let keys: Vec<&str> = table.keys().map(|key| key.get_ref().as_ref()).collect();
            cut(&format!("a table with {}", list(&keys, "and")))
        }
    }
}

/// "a, b and c".
pub(super) fn list<S: AsRef<str>>(words: &[S], last: &str) -> String {
    match words {
        [] => "none".to_owned(),
        [one] => one.as_ref().to_owned(),
        [most @ .., end] => {
            let most: Vec<&str> = most.iter().map(AsRef::as_ref).collect();
            format!("{} {last} {}", most.join(", "), end.as_ref())
        }
    }
}

/// The candidate that `word` was most likely meant to be.
///
/// Near is one slip of the pen (Damerau) for every four letters and one more, or a word cut short.
pub(super) fn nearest<'w>(word: &str, candidates: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let plain = |text: &str| text.trim().to_lowercase().replace([' ', '-', '_'], "");
    let word: String = plain(word).chars().take(100).collect();
    let distance = |candidate: &str| {
        let candidate = plain(candidate);
        let cut_short = word.len() >= 3 && candidate.len() >= 3;
        if cut_short && (candidate.starts_with(&word) || word.starts_with(&candidate)) {
            return 1;
        }
        strsim::damerau_levenshtein(&word, &candidate)
    };
    let near = 1 + word.chars().count() / 4;
    let scored = candidates.map(|candidate| (distance(candidate), candidate));
    let best = scored.min_by_key(|(distance, _)| *distance)?;
    // Of two words without a letter in common the shorter would do for anything.
    (best.0 <= near && best.0 < word.chars().count()).then_some(best.1)
}

/// For a key that people write in the wrong place: the key that belongs there, and what to do about it.
pub(super) fn elsewhere(key: &str) -> Option<(&'static str, &'static str)> {
    Some(match key {
        "illuminance_lx" => ("luminance_cd_m2", "lux is for lamps; a display has luminance_cd_m2"),
        "luminance_cd_m2" => ("illuminance_lx", "cd/m2 is for displays; a lamp has illuminance_lx"),
        "u_prime" => ("x", "a white is written as x and y (CIE 1931), not u', v'"),
        "v_prime" => ("y", "a white is written as x and y (CIE 1931), not u', v'"),
        "zone" | "tz" => ("timezone", "the key is timezone"),
        _ => return None,
    })
}

/// `"a", "b" or "c"`, quoted.
pub(super) fn quoted(words: &[&str], last: &str) -> String {
    let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
    list(&words, last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_near() {
        let keys = ["delta_uv", "luminance_ratio", "ra_min", "id"];
        for (word, near) in [
            ("delta_vu", Some("delta_uv")),
            ("delta-uv", Some("delta_uv")),
            ("delta", Some("delta_uv")),
            ("luminance", Some("luminance_ratio")),
            ("RA_MIN", Some("ra_min")),
            ("di", Some("id")),
            ("zz", None),
            ("x", None),
            ("tolerance", None),
        ] {
            assert_eq!(nearest(word, keys.into_iter()), near, "{word}");
        }
        assert_eq!(list(&["a", "b", "c"], "and"), "a, b and c");
    }
}
