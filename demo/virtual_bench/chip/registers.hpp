// SPDX-License-Identifier: MIT
// Small helpers over simavr's register file. Replacing a register's handlers is how a model takes
// it over.
#pragma once
#include <cstdint>
#include <simavr/sim_avr.h>

namespace yokedock::sim {

/// Takes over writes of a register: (model.*Method)(value), which must store into avr->data itself.
template <class Model, void (Model::*Method)(avr_io_addr_t, std::uint8_t)>
void take_write(avr_t* avr, avr_io_addr_t address, Model* model) {
    auto& io = avr->io[AVR_DATA_TO_IO(address)];
    io.w.param = model;
    io.w.c = [](avr_t*, avr_io_addr_t addr, std::uint8_t value, void* self) {
        (static_cast<Model*>(self)->*Method)(addr, value);
    };
}

/// Takes over reads of a register: the value returned is what the program sees.
template <class Model, std::uint8_t (Model::*Method)(avr_io_addr_t)>
void take_read(avr_t* avr, avr_io_addr_t address, Model* model) {
    auto& io = avr->io[AVR_DATA_TO_IO(address)];
    io.r.param = model;
    io.r.c = [](avr_t*, avr_io_addr_t addr, void* self) {
        return (static_cast<Model*>(self)->*Method)(addr);
    };
}

/// The value to apply in a write-one-to-clear register. simavr turns SBI into read-modify-write,
/// which would clear every flag that stands; the chip's SBI touches one bit (data sheet, I/O
/// registers 0x00 to 0x1F).
inline std::uint8_t flags_written(const avr_t* avr, std::uint8_t value) {
    const auto opcode =
        static_cast<std::uint16_t>(avr->flash[avr->pc] | (avr->flash[avr->pc + 1] << 8));
    return (opcode & 0xFF00u) == 0x9A00u ? static_cast<std::uint8_t>(1u << (opcode & 7u)) : value;
}

/// Pulls an interrupt line that follows a condition: pending while flag and enable hold, withdrawn
/// otherwise.
inline void follow_level(avr_t* avr, avr_int_vector_t& vector, bool condition) {
    const bool wanted = condition && avr_regbit_get(avr, vector.enable) != 0;
    if (wanted && !vector.pending) {
        avr_raise_interrupt(avr, &vector);
    } else if (!wanted && vector.pending) {
        avr_clear_interrupt(avr, &vector);
    }
}

/// The peripheral of that kind ("timer", "uart", "port") and name ('1', '0', 'B'), or nullptr.
template <class Peripheral> Peripheral* find_peripheral(avr_t* avr, const char* kind, char name) {
    for (avr_io_t* io = avr->io_port; io != nullptr; io = io->next) {
        auto* peripheral = reinterpret_cast<Peripheral*>(io); // avr_io_t is its first member
        if (__builtin_strcmp(io->kind, kind) == 0 && peripheral->name == name) {
            return peripheral;
        }
    }
    return nullptr;
}

} // namespace yokedock::sim
