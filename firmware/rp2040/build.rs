//! Puts the memory map of the chip where the linker looks for it.

fn main() {
    let chip = if std::env::var_os("CARGO_FEATURE_RP2350").is_some() { "rp2350" } else { "rp2040" };
    let folder = std::env::var("CARGO_MANIFEST_DIR").unwrap();
    println!("cargo:rustc-link-search={folder}/memory/{chip}");
    println!("cargo:rerun-if-changed=memory");
    if std::env::var_os("CARGO_FEATURE_DEFMT").is_some() {
        println!("cargo:rustc-link-arg=-Tdefmt.x");
    }
}
