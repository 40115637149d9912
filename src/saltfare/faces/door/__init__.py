"""Who may come in from the home network: passphrases, sessions, the patience shown to wrong guesses."""
