import grpc

words = grpc.protos("deepbend/v1/judgement.proto")
pb, services = grpc.protos_and_services("deepbend/v1/matching_service.proto")
matching = services.MatchingServiceStub(grpc.insecure_channel("127.0.0.1:50551"))

rod = {"action": "ACTION_FAST", "lure_rating_min_g": 10, "lure_rating_max_g": 35}
lure = {"lure_class": "LURE_CLASS_CRANKBAIT", "rigged_mass_g": 24}
request = pb.JudgeRequest(outfit={"rod": rod}, lure=lure, water={"species": "pike"})
answer = matching.Judge(request).judgement
print(words.Verdict.Name(answer.verdict), round(answer.score, 2), answer.summary, sep="\n")
