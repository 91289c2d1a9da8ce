//! What leaves through one channel at once: the messages that have gathered for it, the worst first.

use serde::{Deserialize, Serialize};

use super::{Message, Tells};
use crate::alert::Kind;
use crate::ledger::Digest;
use crate::say;
use crate::units::{SiteId, Time};

/// Messages that leave together. As JSON it is what a command reads on its standard input and what a webhook is sent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Group {
    /// The same for every delivery of the same messages through the same channel: `site/channel/digest`. A receiver that has
    /// seen it drops the repeat; each message bears its own key beside.
    pub key: String,
    /// The site.
    pub site: SiteId,
    /// Its name for people.
    pub site_name: String,
    /// When the newest of the messages came about, RFC 3339 UTC.
    pub at: Time,
    /// The same in the site's local time, to be read by people.
    pub at_local: String,
    /// What is wrong where, in one line: the worst message's, and how many more there are.
    pub headline: String,
    /// The messages, the worst first; never empty.
    pub messages: Vec<Message>,
}

impl Group {
    /// Brings together what leaves `channel` now. Of several messages about one alert the newest alone is left, and of several
    /// summaries the last: what came and went before anybody could be told is told once. `None` for no message.
    pub fn of(channel: &str, site_name: &str, messages: Vec<Message>) -> Option<Self> {
        let mut left = newest_of_each(messages);
        left.sort_by_key(|message| (rank(message), message.at));
        let newest = left.iter().max_by_key(|message| message.at)?;
        let (at, at_local) = (newest.at, newest.at_local.clone());
        let first = left.first()?;
        Some(Self {
            key: group_key(&first.site, channel, &left),
            site: first.site.clone(),
            site_name: site_name.to_owned(),
            at,
            at_local,
            headline: say::of_group(&first.headline, left.len() - 1),
            messages: left,
        })
    }
}

/// Of messages about the same thing, the newest; in the order given.
fn newest_of_each(messages: Vec<Message>) -> Vec<Message> {
    let same = |one: &Message, other: &Message| match (one.alert, other.alert) {
        (None, None) => one.kind == other.kind,
        (one, other) => one == other,
    };
    let mut left: Vec<Message> = Vec::with_capacity(messages.len());
    for message in messages {
        match left.iter_mut().find(|earlier| same(earlier, &message)) {
            Some(earlier) if earlier.at <= message.at => *earlier = message,
            Some(_) => {}
            None => left.push(message),
        }
    }
    left
}

/// What comes first: that something is wrong before that it is no more, and the worst of it.
fn rank(message: &Message) -> (u8, u8) {
    let told = match message.state {
        Tells::Raised | Tells::Test => 0,
        Tells::Still => 1,
        Tells::Summary => 2,
        Tells::Cleared => 3,
    };
    (told, Kind::from_word(&message.kind).map_or(u8::MAX, Kind::rank))
}

fn group_key(site: &SiteId, channel: &str, messages: &[Message]) -> String {
    let keys: Vec<&str> = messages.iter().map(|message| message.key.as_str()).collect();
    let digest = Digest::of(keys.join("\n").as_bytes()).to_string();
    format!("{site}/{channel}/{digest:.24}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(alert: Option<i64>, kind: &str, state: Tells, minute: u32) -> Message {
        let at = Time::parse(&format!("2026-05-01T08:{minute:02}:00Z")).unwrap();
        let number = alert.map_or_else(|| "summary".to_owned(), |id| id.to_string());
        Message {
            key: format!("quillmoor/{number}/{}/{minute}", state.word()),
            site: SiteId::new("quillmoor").unwrap(),
            alert,
            kind: kind.to_owned(),
            subject: "bay".to_owned(),
            state,
            at,
            at_local: at.to_string(),
            since: at,
            since_local: at.to_string(),
            headline: format!("{kind} {}", state.word()),
            lines: Vec::new(),
        }
    }

    fn told(messages: Vec<Message>) -> (String, Vec<String>) {
        let group = Group::of("mail", "Quillmoor print room", messages).unwrap();
        (group.headline, group.messages.into_iter().map(|message| message.headline).collect())
    }

    #[test]
    fn the_worst_stands_first() {
        let (headline, order) = told(vec![
            message(Some(1), "match-at-risk", Tells::Cleared, 0),
            message(Some(2), "file-refused", Tells::Raised, 1),
            message(None, "summary", Tells::Summary, 2),
            message(Some(3), "match-out", Tells::Raised, 3),
            message(Some(4), "off-aim", Tells::Still, 4),
        ]);
        assert_eq!(headline, "match-out raised, and 4 more");
        let expected =
            ["match-out raised", "file-refused raised", "off-aim still", "summary summary", "match-at-risk cleared"];
        assert_eq!(order, expected);
    }

    #[test]
    fn what_came_and_went_is_told_once() {
        let (headline, order) = told(vec![
            message(Some(1), "match-out", Tells::Raised, 0),
            message(None, "summary", Tells::Summary, 1),
            message(Some(1), "match-out", Tells::Still, 2),
            message(Some(1), "match-out", Tells::Cleared, 3),
            message(None, "summary", Tells::Summary, 4),
        ]);
        assert_eq!((headline.as_str(), order.len()), ("summary summary, and 1 more", 2));
        assert_eq!(Group::of("mail", "Quillmoor print room", Vec::new()), None);
    }

    #[test]
    fn a_key_is_of_the_messages_and_of_the_channel() {
        let key = |channel, messages: &[Message]| Group::of(channel, "Room", messages.to_vec()).unwrap().key;
        let messages = [message(Some(1), "match-out", Tells::Raised, 0), message(Some(2), "off-aim", Tells::Raised, 1)];
        assert_eq!(key("mail", &messages), key("mail", &messages));
        assert_ne!(key("mail", &messages), key("hook", &messages));
        assert_ne!(key("mail", &messages), key("mail", &messages[..1]));
        assert!(key("mail", &messages).starts_with("quillmoor/mail/"));
    }
}
