//! Answers as people give them, and what is said of those that are not understood.

use super::*;

fn of_screen(answer: &str) -> (String, Option<White>, Option<f64>) {
    let screen = screen(answer).unwrap_or_else(|why| panic!("{answer}: {why}"));
    (screen.id.to_string(), screen.white, screen.luminance)
}

#[test]
fn a_screen_in_many_ways() {
    for answer in [
        "Desk screen, D65, 120 cd/m2",
        "Desk screen D65 120cd/m²",
        "desk screen; 120 nits; d65",
        "Desk screen, 120, D65",
        "Desk screen, white D65 at 120,0 cd/m2",
    ] {
        assert_eq!(of_screen(answer), ("desk-screen".to_owned(), Some(White::D65), Some(120.0)), "{answer}");
    }
    assert_eq!(of_screen(""), ("desk-screen".to_owned(), None, None));
    assert_eq!(of_screen("Screen 2"), ("screen-2".to_owned(), None, None));
    assert_eq!(of_screen("LED wall, 5800 K"), ("led-wall".to_owned(), Some(White::Kelvin(5800.0)), None));
    assert_eq!(of_screen("5,800K, 1,200 cd/m2"), ("desk-screen".to_owned(), Some(White::Kelvin(5800.0)), Some(1200.0)));
    assert_eq!(of_screen("D65,120"), ("desk-screen".to_owned(), Some(White::D65), Some(120.0)));
    assert_eq!(of_screen("Schirm Büro, paper"), ("schirm-buro".to_owned(), None, None));
    assert_eq!(of_screen("画面"), ("desk-screen".to_owned(), None, None));
}

#[test]
fn a_lamp_in_many_ways() {
    for answer in ["Bay lamp, D50, 500 lx, led", "Bay lamp D50 500lux LED", "bay lamp, led, 500, D50"] {
        let lamp = lamp(answer).unwrap_or_else(|why| panic!("{answer}: {why}"));
        assert_eq!((lamp.id.as_str(), lamp.white, lamp.illuminance), ("bay-lamp", Some(White::D50), Some(500.0)));
        assert_eq!(lamp.kind, LampKind::Led, "{answer}");
    }
    assert_eq!(lamp("").unwrap().kind, LampKind::Led);
    assert_eq!(lamp("Booth").unwrap().kind, LampKind::Other);
    assert_eq!(lamp("Booth, fluorescent tubes").unwrap().kind, LampKind::Fluorescent);
    assert_eq!(lamp("LED panel").unwrap().kind, LampKind::Led);
}

#[test]
fn a_paper_in_many_ways() {
    let rag = SheetWhite::Read { l: 96.8, a: 0.6, b: -1.9 };
    for answer in [
        "Rag matte, 96.8 0.6 -1.9",
        "Rag matte 96,8 0,6 -1,9",
        "rag matte, L=96.8 a=0.6 b=−1.9",
        "Rag matte, 96.8, 0.6, -1.9",
    ] {
        let paper = paper(answer).unwrap_or_else(|why| panic!("{answer}: {why}"));
        assert_eq!((paper.id.as_str(), paper.white), ("rag-matte", rag), "{answer}");
    }
    let typical = |answer: &str| (paper(answer).unwrap().id.to_string(), paper(answer).unwrap().white);
    assert_eq!(typical(""), ("matte".to_owned(), SheetWhite::Typical(Finish::Matte)));
    assert_eq!(typical("Baryta 310, glossy"), ("baryta-310".to_owned(), SheetWhite::Typical(Finish::Glossy)));
    assert_eq!(typical("glossy"), ("glossy".to_owned(), SheetWhite::Typical(Finish::Glossy)));
}

#[test]
fn what_is_not_understood_is_told_with_what_was_expected() {
    let said = |why: Puzzled| why.to_string();
    let screens = [
        "A, D75",
        "A, 5000",
        "A, 500 lx",
        "A, 900 K",
        "A, D50, D65",
        "A, 0 cd/m2",
        "A, purple",
        "A, 50000 cd/m2",
        "A, led",
    ];
    let lamps = ["A, 120 cd/m2", "A, 5000", "A, purple", "A, 500 lx 600 lx"];
    let papers = ["A, 96 1", "A, 12 0 0", "A, 96 0 -80", "A, purple"];
    let mut texts: Vec<String> = screens.iter().map(|a| format!("{a} → {}", said(screen(a).unwrap_err()))).collect();
    texts.extend(lamps.iter().map(|a| format!("{a} → {}", said(lamp(a).unwrap_err()))));
    texts.extend(papers.iter().map(|a| format!("{a} → {}", said(paper(a).unwrap_err()))));
    texts.extend(["state", "~/in", "a/archive/"].iter().map(|a| format!("{a} → {}", said(folder(a).unwrap_err()))));
    insta::assert_snapshot!(texts.join("\n"));
}

#[test]
fn one_name_makes_three_ids() {
    let (lamp, paper) = told_apart(&screen("Desk").unwrap(), lamp("Desk").unwrap(), paper("desk").unwrap());
    assert_eq!((lamp.id.as_str(), paper.id.as_str()), ("desk-lamp", "desk-paper"));
}
