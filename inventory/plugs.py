"""What the stock plugs into the sockets below."""
