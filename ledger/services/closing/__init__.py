"""Closing months: one service behind the worker, the beat, the sweep and the command.

`scheduling`  which months are due, and a row for each household in them
`claiming`    who works on a row: lease, fence, order of months
`running`     one household's due months, each written in one guarded transaction
`listing`     what a close does to the list of findings
`announcing`  telling the firm's own programs what a close did
`staleness`   what corrected facts do to months already closed
`sweeping`    whatever was lost, dropped or left behind is found again here

Each function that touches the database runs inside a firm's scope, opened by
the caller or by itself as its docstring says.
"""
