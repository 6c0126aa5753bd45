// SPDX-License-Identifier: MIT
// Any bytes as an oscilloscope file: an error, or a table that keeps its promises.
#include "host/record/import.hpp"
#include <cmath>
#include <cstdio>
#include <cstdlib>

namespace {

void promise(bool kept, const char* text) {
    if (!kept) {
        std::fprintf(stderr, "broken promise: %s\n", text);
        std::abort();
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using namespace yokedock::record;
    std::string text(reinterpret_cast<const char*>(data), size);
    ImportOptions options;
    options.line_rate_hz = 15734;
    options.field_rate_hz = 60;
    // The first byte chooses the options, so that one corpus reaches them all.
    const unsigned choice = text.empty() ? 0 : static_cast<unsigned char>(text[0]);
    options.csv.decimal_comma = (choice & 1) != 0;
    if ((choice & 2) != 0) {
        options.csv.column_headers["v_yoke_a"] = "CH1";
    }
    CsvReader reader("fuzz.csv", options.csv);
    for (std::size_t at = 0; at <= text.size();) {
        const std::size_t end = std::min(text.find('\n', at), text.size());
        if (!reader.line(std::string_view(text).substr(at, end - at))) {
            return 0;
        }
        at = end + 1;
    }
    auto table = reader.finish();
    if (!table) {
        return 0;
    }
    for (std::size_t i = 0; i < table.value().time_s.size(); ++i) {
        promise(std::isfinite(table.value().time_s[i]), "times are finite");
        promise(i == 0 || table.value().time_s[i] > table.value().time_s[i - 1], "times increase");
    }
    for (const auto& column : table.value().columns) {
        promise(column.size() == table.value().time_s.size(), "columns are as long as the time");
    }
    (void)import_tables({std::move(table).value()}, {"fuzz.csv"}, options);
    return 0;
}
