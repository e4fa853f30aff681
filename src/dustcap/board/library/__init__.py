"""The library of blocks: templates as TOML beside this file, their design equations, and the way onto a board.

A template names its ports (nets of the board), its settings (with unit and default), its parts and, where it is made of
others, its blocks. ``{ from = "setting" }`` stands where a setting, or a value that the template's design computes, is
to be filled in. Inner nets and parts get the block's name in front. ``"0V"`` in a template is the board's common net.
"""
