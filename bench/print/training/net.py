"""The network: a straightened staff to symbols (after Calvo-Zaragoza and Rizo, 2018).

J. Calvo-Zaragoza and D. Rizo, "End-to-End Neural Optical Music Recognition of Monophonic Scores",
Applied Sciences 8 (2018) 606: convolution, recurrence, connectionist temporal classification.
"""

import torch
from torch import nn


class Block(nn.Module):
    def __init__(self, width: int) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(width, width, 3, padding=1, bias=False), nn.BatchNorm2d(width), nn.ReLU(),
            nn.Conv2d(width, width, 3, padding=1, bias=False), nn.BatchNorm2d(width),
        )  # fmt: skip

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return torch.relu(x + self.body(x))


def down(a: int, b: int, stride: tuple[int, int]) -> nn.Sequential:
    conv = nn.Conv2d(a, b, 3, stride=stride, padding=1, bias=False)
    return nn.Sequential(conv, nn.BatchNorm2d(b), nn.ReLU())


class Net(nn.Module):
    """(batch, 1, 176, width) ink in 0..1 to (batch, width / 4, classes) log odds."""

    def __init__(self, classes: int, hidden: int = 240) -> None:
        super().__init__()
        self.see = nn.Sequential(
            down(1, 32, (2, 2)), down(32, 56, (2, 2)), Block(56), down(56, 96, (2, 1)), Block(96),
            Block(96), down(96, 136, (2, 1)), Block(136),
        )  # fmt: skip
        self.fold = nn.Sequential(
            nn.Conv2d(136, 320, (11, 1), bias=False), nn.BatchNorm2d(320), nn.ReLU()
        )
        self.drop = nn.Dropout(0.15)
        self.read = nn.LSTM(320, hidden, num_layers=2, bidirectional=True, dropout=0.15)
        self.say = nn.Linear(2 * hidden, classes)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        features = self.fold(self.see(x))[:, :, 0].permute(2, 0, 1)  # time, batch, channels
        found, _ = self.read(self.drop(features))
        return self.say(found).transpose(0, 1)
