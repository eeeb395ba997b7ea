LABORATORIES_FILE = "laboratories.toml"
