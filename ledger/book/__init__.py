"""The sealing core: bytes in, proofs out.

Entries, their canonical bytes, the hash chain, the Merkle tree, signed checkpoints and receipts.
Nothing here knows of balls, HTTP, SQL, files, clocks or randomness: all of those are arguments.
"""
