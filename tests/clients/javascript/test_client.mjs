// The service seen from JavaScript: node test_client.mjs ADDRESS PROTO_DIR DESCRIPTOR_SET ORIGIN
// ORIGIN is that of a web page which the service lets call by gRPC-Web.
// Expectations are the contract's own words (proto/deepbend/v1).
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { promisify } from 'node:util';
import { createFileRegistry, fromBinary } from '@bufbuild/protobuf';
import { FileDescriptorSetSchema, anyUnpack } from '@bufbuild/protobuf/wkt';
import { Code, ConnectError, createClient } from '@connectrpc/connect';
import { createGrpcWebTransport } from '@connectrpc/connect-node';
import grpc from '@grpc/grpc-js';
import loader from '@grpc/proto-loader';

const [address, protos, descriptors, origin] = process.argv.slice(2);
if (!origin) {
  console.error('usage: test_client.mjs ADDRESS PROTO_DIR DESCRIPTOR_SET ORIGIN');
  process.exit(2);
}

const files = ['matching_service', 'inventory_service'].map((name) => `deepbend/v1/${name}.proto`);
const reading = { enums: String, longs: String, defaults: true, oneofs: true };
const { deepbend } = grpc.loadPackageDefinition(
  loader.loadSync(files, { includeDirs: [protos], ...reading }),
);
const insecure = grpc.credentials.createInsecure();
const matching = new deepbend.v1.MatchingService(address, insecure);
const inventory = new deepbend.v1.InventoryService(address, insecure);
const judge = promisify(matching.judge).bind(matching);
const listItems = promisify(inventory.listItems).bind(inventory);

const registry = createFileRegistry(fromBinary(FileDescriptorSetSchema, readFileSync(descriptors)));
const transport = createGrpcWebTransport({ baseUrl: `http://${address}`, httpVersion: '1.1' });
const web = createClient(registry.getService('deepbend.v1.MatchingService'), transport);

const gear = {
  outfit: { rod: { action: 'ACTION_FAST', lureRatingMinG: 10, lureRatingMaxG: 35 } },
  lure: { lureClass: 'LURE_CLASS_CRANKBAIT', riggedMassG: 24 },
};
const webGear = {
  outfit: { rod: { ...gear.outfit.rod, action: number('Action', gear.outfit.rod.action) } },
  lure: { ...gear.lure, lureClass: number('LureClass', gear.lure.lureClass) },
};
const nonsense = {
  outfit: { rod: { lengthM: NaN }, line: { testKgf: -3 } },
  lure: { riggedMassG: 1e9 },
};
const faults = [
  ['lure.rigged_mass_g', 'TOO_LARGE'],
  ['outfit.line.test_kgf', 'TOO_SMALL'],
  ['outfit.rod.length_m', 'NOT_FINITE'],
];

/** The number of a word of the contract. */
function number(list, word) {
  return registry.getEnum(`deepbend.v1.${list}`).values.find(({ name }) => name === word).number;
}

/** What the details of an error say: the reason, and field and fault of each violation. */
function told(details) {
  const info = details.find((detail) => detail.$typeName === 'google.rpc.ErrorInfo');
  const request = details.find((detail) => detail.$typeName === 'google.rpc.BadRequest');
  assert(info && request, 'the error must have ErrorInfo and BadRequest');
  const found = request.fieldViolations.map(({ field, reason }) => [field, reason]);
  return { domain: info.domain, reason: info.reason, faults: found.sort() };
}
const refusal = { domain: 'deepbend.v1', reason: 'INVALID_REQUEST', faults };

const checks = {
  async 'grpc-js judges an outfit'() {
    const { judgement } = await judge(gear);
    assert.match(judgement.verdict, /^VERDICT_(EXCELLENT|GOOD|WORKABLE|POOR|UNSAFE)$/);
    assert(judgement.score >= 0 && judgement.score <= 1);
    const lost = judgement.factors.reduce((sum, factor) => sum + BigInt(factor.lossNano), 0n);
    const kept = BigInt(Math.round(judgement.scoreWithoutLimits * 1e9));
    assert.equal(lost + kept, 1_000_000_000n);
  },
  async 'grpc-js sees every fault'() {
    const error = await judge(nonsense).then(
      () => assert.fail('nonsense was judged'),
      (reason) => reason,
    );
    assert.equal(error.code, grpc.status.INVALID_ARGUMENT);
    const [bytes] = error.metadata.get('grpc-status-details-bin');
    const status = fromBinary(registry.getMessage('google.rpc.Status'), bytes);
    assert.deepEqual(told(status.details.map((any) => anyUnpack(any, registry))), refusal);
  },
  async 'grpc-js lists gear'() {
    const filter = { kinds: ['ITEM_KIND_LURE'] };
    const first = await listItems({ pageSize: 5, filter });
    const second = await listItems({ pageSize: 5, filter, pageToken: first.nextPageToken });
    const ids = [...first.items, ...second.items].map((item) => item.id);
    assert.equal(new Set(ids).size, 10);
    assert.deepEqual(ids, [...ids].sort());
    assert(first.items.every((item) => item.spec === 'lure' && item.lure.lureClass));
  },
  async 'gRPC-Web judges an outfit as grpc-js does'() {
    const { judgement } = await web.judge(webGear, { headers: { origin } });
    const other = (await judge(gear)).judgement;
    assert.equal(judgement.score, other.score);
    assert.equal(judgement.summary, other.summary);
  },
  async 'gRPC-Web sees every fault'() {
    const error = await web.judge(nonsense, { headers: { origin } }).then(
      () => assert.fail('nonsense was judged'),
      (reason) => ConnectError.from(reason),
    );
    assert.equal(error.code, Code.InvalidArgument);
    const kinds = ['google.rpc.ErrorInfo', 'google.rpc.BadRequest'];
    const details = kinds.flatMap((kind) => error.findDetails(registry.getMessage(kind)));
    assert.deepEqual(told(details), refusal);
  },
};

let failed = 0;
for (const [name, check] of Object.entries(checks)) {
  try {
    await check();
  } catch (error) {
    failed += 1;
    console.error(`\n${name}: ${error.stack}`);
  }
}
matching.close();
inventory.close();
console.log(`${Object.keys(checks).length - failed} passed, ${failed} failed`);
process.exitCode = failed ? 1 : 0;
