"""Whether a board speaks the protocol: bytes with the host's times in, plain findings out.

    from flowlog.wire.conformance.judge import judge

    report = judge([(0.10, b"H,12,0,..."), (0.20, b"S,12,0,...")])
    report.failed            # findings that a firmware writer must mend
    print(report.text())     # all of them, in words

Numbers of the rules (L1, S6, ...) are those of firmware-notes/protocol.md.
"""
