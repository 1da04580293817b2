//! A small invented fleet, as its owner writes it.

use deepbend_ledger::event::{Certainty, Chain, Claim, Recorder};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::FileKind;
use deepbend_ledger::time::ObservedTime;

pub(crate) const BOATS: &str = "\
boat_id,name,home_berth,rod_holders,max_rods_aboard,deck_note,locker_length_m
B1,Grebe,Hallgrund inner quay,8,9,\"open casting deck, 3 anglers\",2.50
S0,Shed,Hallgrund boat shed,0,40,ashore store and workbench,
";
pub(crate) const DEVICES: &str = "device,place,role\nB1-tablet,B1,guide\nshed-desk,S0,shed\n";
pub(crate) const LINE_STOCK: &str = "\
stock_id,type,spec_raw,dia_mm,length_m,place
K02,PE 8-strand,PE 0.8 (7 kg),0.148,300,S0
K05,nylon,16 lb,0.33,300,S0
K06,fluorocarbon leader,0.25 mm / 4.5 kg,0.25,50,B1
K09,titanium single strand,\"9 kg, 40 cm x 20\",0.30,8,B1
K10,7x7 steel wire,\"14 kg, 45 cm x 15\",0.40,7,B1
";
pub(crate) const RODS: &str = "\
rod_id,handle,length_raw,power_label,action,material,lure_raw,line_raw,line_basis,pieces,guides,\
mass_g,status,place,cost_eur,condition,note
R02,spinning,6 ft 10 in,L,extra fast,graphite,2-9 g,PE 0.3-0.8,PE,2,ceramic,98,ready,B1,140,A,
R06,spinning,2.13 m,ML,fast,graphite,10-35 g,10-20 lb,mono,2,ceramic,139,ready,B1,85.50,A,label
R12,spinning,2.90 m,M,moderate fast,graphite,10-30 g,8-16 lb,mono,2,ceramic,176,in_service,S0,,D,
";
pub(crate) const REELS: &str = "\
reel_id,type,size,gear_ratio,retrieve_raw,drag_max_raw,capacity_raw,mass_g,status,place,line_type,\
strands,line_test_raw,line_dia_mm,line_length_m,spooled_on,hours_on_line,serial,condition,note,\
retrieve_side
E03,fixed-spool,2500,5.3:1,75 cm,9 lb,0.22 mm/150 m,215,ready,B1,PE,8,PE 0.6 (11 lb),0.128,140,\
2030-08-11,148,HG-1003,B,line due,reversible
E10,fixed-spool,4000,5.3:1,86 cm,11 kg,0.30 mm/200 m,292,ready,B1,PE,4,PE 1.5 (13 kg),0.202,150,\
2030-06-19,212,HG-1010,C,,reversible
E12,casting,150,6.3:1,66 cm,6 kg,0.33 mm/110 m,205,ready,B1,nylon,1,16 lb,0.33,100,2031-05-15,\
40,HG-1012,B,plug reel,right
";
pub(crate) const LURES: &str = "\
lure_id,class,name,mass_raw,trailer_g,rigged_g,length_mm,hook_style,hook_count,hook_size,wire_mm,\
barbed,punch_N,pull_N,air_class,qty,place
L03,drop_shot,pin-tail 75 mm,1/4 oz,1.5,8.6,75,single,1,2,0.6,yes,0,0.3,compact,10,S0
L17,crankbait,medium diver 70 mm,18 g,0,18,70,treble,2,4,0.8,yes,0,6.0,wobbling,4,B1
";

pub(crate) fn files() -> Vec<(FileKind, &'static str)> {
    vec![
        (FileKind::Lures, LURES),
        (FileKind::Rods, RODS),
        (FileKind::Reels, REELS),
        (FileKind::LineStock, LINE_STOCK),
        (FileKind::Devices, DEVICES),
        (FileKind::Boats, BOATS),
    ]
}

pub(crate) fn claim() -> Claim {
    Claim {
        observed_time: ObservedTime::new("2031-09-15T17:00:00Z").unwrap(),
        actor: Id::new("shed").unwrap(),
        certainty: Certainty::Typed,
    }
}

pub(crate) fn recorder(device: &str) -> Recorder {
    let device = Id::new(device).unwrap();
    Recorder::begin(Chain { device, incarnation: 1 }, 1)
}
