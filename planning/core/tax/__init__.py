"""Canadian personal income tax on the amounts this firm's plans turn on."""
