// SPDX-License-Identifier: MIT
// Any bytes as a board file, and as a setting: an error, or values that are all in their range.
#include "demo/virtual_bench/board/board_file.hpp"
#include "tests/fuzz/promise.hpp"

using namespace yokedock;

namespace {

void check_ranges(const sim::BoardParameters& board) {
    for (const sim::ParameterInfo& info : sim::parameter_table()) {
        const double value = board.*info.member;
        test::promise(value >= info.low && value <= info.high, "every value is in its range");
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    const std::string text(reinterpret_cast<const char*>(data), size);
    // The folder is the sources': a seed that names a base finds it there.
    const auto board = sim::parse_board(text, "fuzz.json", YOKEDOCK_BOARDS);
    if (board) {
        check_ranges(board.value().parameters);
        for (const sim::FaultUse& use : board.value().live) {
            test::promise(use.fault != nullptr && use.severity >= 0 && use.severity <= 1,
                          "a fault is one of the table, its severity from 0 to 1");
        }
    } else {
        test::promise(board.error().kind == ErrorKind::kFile, "a bad file is a file error");
    }
    static const sim::BoardParameters kGood =
        sim::load_board(YOKEDOCK_BOARDS "/quillwood13.json").value().parameters;
    sim::BoardParameters bent = kGood;
    (void)sim::apply_setting(bent, text);
    check_ranges(bent);
    sim::FaultyBoard faulty{kGood, {}, {}};
    if (const auto use = sim::parse_fault(text)) {
        test::promise(sim::fit_fault(faulty, use.value()).ok(), "one fault fits any board");
    }
    check_ranges(faulty.parameters);
    return 0;
}
