//! Who is at the keyboard, and whence that is known.
//!
//! Whoever is named by an option must be one of the configuration's operators, so that a slip of the pen makes no new person. Where
//! nobody is named the name under which the computer is used is taken, and said to be no more than that.

use super::fail::{Failure, Kind};
use crate::reading::{Operator, OperatorBy};
use crate::site::Things;
use crate::units::OperatorId;

/// The operator that `--operator` names, or the login; `None` where the login has no name that can be written down.
pub fn operator(named: Option<&str>, things: &Things) -> Result<Option<Operator>, Failure> {
    match named {
        Some(name) => known(name, "--operator", things).map(Some),
        None => Ok(login().map(|id| Operator { id, by: OperatorBy::Login })),
    }
}

/// An operator that somebody typed, who must be in the configuration; `where_typed` is how they did.
pub fn known(name: &str, where_typed: &str, things: &Things) -> Result<Operator, Failure> {
    let id = OperatorId::new(name).map_err(|bad| Failure::new(Kind::Usage, format!("{where_typed}: {bad}")))?;
    if things.operators.contains(&id) {
        return Ok(Operator { id, by: OperatorBy::Option });
    }
    let names: Vec<&str> = things.operators.iter().map(OperatorId::as_str).collect();
    let near = names.iter().map(|other| (strsim::damerau_levenshtein(other, name), other)).min();
    let hint = match near.filter(|(distance, other)| *distance <= other.len().max(3) / 2) {
        Some((_, near)) => format!("did you mean '{near}'?"),
        None if names.is_empty() => format!("it names none yet: add [[operator]] with id = \"{name}\""),
        None => format!("it names {}; or add [[operator]] with id = \"{name}\"", names.join(", ")),
    };
    let message = format!("{where_typed}: there is no operator '{name}' in the configuration; {hint}");
    Err(Failure::new(Kind::NotFound, message))
}

/// The name under which the computer is used: of the session, else of the process.
fn login() -> Option<OperatorId> {
    let variable = |name| std::env::var(name).ok().filter(|value: &String| !value.is_empty());
    let name = ["LOGNAME", "USER", "USERNAME"].into_iter().find_map(variable).or_else(owner)?;
    // Of `ROOM\ines` and `ines@room`, as domains write them, the person.
    let person = name.rsplit('\\').next()?.split('@').next()?;
    OperatorId::new(person).ok()
}

/// The user of this process by the system's list of users (passwd(5)); Linux only.
fn owner() -> Option<String> {
    #[cfg(target_os = "linux")]
    {
        use std::os::unix::fs::MetadataExt;
        let number = std::fs::metadata("/proc/self").ok()?.uid().to_string();
        let users = std::fs::read_to_string("/etc/passwd").ok()?;
        let user = |line: &str| {
            let mut fields = line.split(':');
            let name = fields.next()?;
            (fields.nth(1) == Some(number.as_str())).then(|| name.to_owned())
        };
        users.lines().find_map(user)
    }
    #[cfg(not(target_os = "linux"))]
    None
}
