//! tmp
#[test]
fn dump() {
    for p in twinwhite::cli::schema::schemas() {
        std::fs::create_dir_all("/tmp/cmp/schema").unwrap();
        std::fs::write(format!("/tmp/cmp/schema/{}", p.file_name()), serde_json::to_string_pretty(&p.schema).unwrap())
            .unwrap();
    }
}
