"""One training, from its configuration to weights with their card.

Begin with `config.TrainConfig` and `loop.Trainer`.
"""
