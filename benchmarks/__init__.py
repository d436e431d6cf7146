"""Speed, measured: each benchmark quotes a ratio to a peer or a floor run beside it."""
