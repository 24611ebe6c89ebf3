"""The network as ONNX for one staff of any width, its weights kept in half precision."""

from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper


def export(net: torch.nn.Module, path: Path) -> None:
    torch.onnx.export(
        net, (torch.zeros(1, 1, 176, 640),), str(path), input_names=["staff"],
        output_names=["logits"], opset_version=17, dynamo=False,
        dynamic_axes={"staff": {3: "width"}, "logits": {1: "frames"}},
    )  # fmt: skip
    model = onnx.load(path)
    casts = []
    for tensor in list(model.graph.initializer):
        if tensor.data_type != TensorProto.FLOAT or np.prod(tensor.dims) < 1000:
            continue
        half = numpy_helper.to_array(tensor).astype(np.float16)
        name = tensor.name
        model.graph.initializer.remove(tensor)
        model.graph.initializer.append(numpy_helper.from_array(half, name + "_half"))
        casts.append(helper.make_node("Cast", [name + "_half"], [name], to=TensorProto.FLOAT))
    for cast in reversed(casts):
        model.graph.node.insert(0, cast)
    onnx.checker.check_model(model)
    onnx.save(model, path)
