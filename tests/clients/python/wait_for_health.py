"""Waits until the service says that it serves: python wait_for_health.py ADDRESS"""

import sys

import grpc
from grpc_health.v1 import health_pb2, health_pb2_grpc

with grpc.insecure_channel(sys.argv[1]) as channel:
    health = health_pb2_grpc.HealthStub(channel)
    try:
        answer = health.Check(health_pb2.HealthCheckRequest(), wait_for_ready=True, timeout=20)
    except grpc.RpcError as error:
        sys.exit(f"no health within 20 seconds: {error.code().name}: {error.details()}")
    if answer.status != health_pb2.HealthCheckResponse.SERVING:
        sys.exit(f"the service is not serving: status {answer.status}")
