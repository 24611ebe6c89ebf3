"""The command line. Heavy imports only inside commands, so that `--help` answers at once."""
