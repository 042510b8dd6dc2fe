"""Job sheets by e-mail: one message a client, as drafts or sent. Nothing else of the program reaches the network."""
