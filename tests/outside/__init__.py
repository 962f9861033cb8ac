"""An outside bench: sound files, amplifiers with known truth, recorders. Shares no code with the program."""
