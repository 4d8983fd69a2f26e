use evenpass_core::{catalogue::Catalogue, recipe::Recipe, rig::Rig};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let text = std::fs::read_to_string(&a[2]).unwrap();
    let p = std::fs::read_to_string("config/powders.toml").unwrap();
    let t = std::fs::read_to_string("config/torches.toml").unwrap();
    let files = [("powders.toml", p.as_str()), ("torches.toml", t.as_str())];
    let c = Catalogue::read(&files).unwrap();
    let out = match a[1].as_str() {
        "recipe" => Recipe::read(&text, &c).err().map(|e| e.render("x.toml", &text)),
        "rig" => Rig::read(&text).err().map(|e| e.render("x.toml", &text)),
        _ => Catalogue::read(&[("x.toml", &text)]).err().map(|e| e.render(&[("x.toml", &text)])),
    };
    println!("{}", out.unwrap_or_default());
}
