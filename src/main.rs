//! The command line program: parse, run, exit code. Everything else is in the library.

fn main() -> std::process::ExitCode {
    tintwell::cli::main()
}
