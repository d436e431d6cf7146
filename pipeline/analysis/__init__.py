"""Statistics on plain numbers and small frames; knows no store, no SQL, no plot."""
